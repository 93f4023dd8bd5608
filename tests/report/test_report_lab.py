"""`lab` talks to this machine alone and asks for a token, whatever the user's own settings say."""

import json
import os
import re
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from pathlib import Path

import pytest

from analysis.basics import KitError
from analysis.report.notebook_pages import copy_notebooks
from analysis.study import fixing, new_study

ROOT = Path(__file__).resolve().parents[2]
OPEN_TO_ALL = {
    "ServerApp": {
        "ip": "0.0.0.0", "token": "", "password": "", "allow_remote_access": True, "allow_origin": "*",
        "disable_check_xsrf": True, "open_browser": False, "allow_root": True,
    },
    "IdentityProvider": {"token": ""},
    "PasswordIdentityProvider": {"token": "", "password_required": False},
}  # fmt: skip


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    """Start the lab where the user's own settings open it to everybody; gives its address with the token."""
    home = tmp_path_factory.mktemp("home")
    study = new_study(home / "study")
    (home / "config").mkdir()
    for name in ("jupyter_server_config.json", "jupyter_lab_config.json", "jupyter_config.json"):
        (home / "config" / name).write_text(json.dumps(OPEN_TO_ALL))
    environment = {**os.environ, "HOME": str(home), "JUPYTER_CONFIG_DIR": str(home / "config"), "JUPYTER_TOKEN": ""}
    environment |= {"JUPYTER_DATA_DIR": str(home / "data"), "JUPYTER_RUNTIME_DIR": str(home / "run")}
    process = subprocess.Popen(
        [sys.executable, "-m", "analysis", "lab", str(study), "--no-browser"],
        cwd=ROOT, env=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, start_new_session=True,
    )  # fmt: skip
    lines = []
    reader = threading.Thread(target=lambda: [lines.append(line) for line in process.stdout], daemon=True)
    reader.start()
    found, end = None, time.monotonic() + 90
    while found is None and time.monotonic() < end and process.poll() is None:
        printed = "".join(lines)
        if "is running at" in printed or "ServerApp] http://" in printed:
            found = re.search(r"http://(127\.0\.0\.1):(\d+)/lab\?token=(\w+)", printed)
        time.sleep(0.2)
    yield found, "".join(lines)
    os.killpg(process.pid, signal.SIGKILL)
    process.wait()
    reader.join(5)
    process.stdout.close()


def status(url):
    try:
        with urllib.request.urlopen(url, timeout=10) as answer:
            return answer.status
    except urllib.error.HTTPError as error:
        return error.code


@pytest.mark.skipif(os.name != "posix", reason="the process group is ended as on POSIX")
def test_only_this_machine_and_only_with_the_token(address):
    found, printed = address
    assert found is not None, printed[-2000:]
    port, token = int(found[2]), found[3]
    assert len(token) >= 32
    base = f"http://127.0.0.1:{port}"
    assert status(f"{base}/api/contents") == 403
    assert status(f"{base}/api/contents?token=wrong") == 403
    assert status(f"{base}/api/contents?token={token}") == 200
    if sys.platform == "linux":  # where 127.0.0.2 is an address of this machine too: open only to a server of everybody
        with pytest.raises(ConnectionRefusedError), socket.create_connection(("127.0.0.2", port), timeout=5):
            pass


def test_a_folder_that_is_not_there_and_one_that_may_not_be_written(tmp_path, monkeypatch):
    with pytest.raises(KitError, match="no such folder"):
        copy_notebooks(tmp_path / "nowhere")

    def read_only(*_):
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr(fixing, "_write", read_only)
    with pytest.raises(KitError, match="could not be copied"):
        copy_notebooks(tmp_path)


def test_a_copy_that_did_not_fit_leaves_the_old_one(tmp_path, monkeypatch):
    target, _ = copy_notebooks(tmp_path)
    before = {p.name: p.read_bytes() for p in target.iterdir()}

    def full(path, content):
        path.write_bytes(content[:100])
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(fixing, "_write", full)
    with pytest.raises(KitError, match="No space left"):
        copy_notebooks(tmp_path)
    assert {p.name: p.read_bytes() for p in target.iterdir()} == before
