"""Kill a command for good (SIGKILL) before any one of the changes that it makes below a folder."""

import os
import signal
import sys
import traceback
import warnings

CHANGES = frozenset(
    {"open", "os.mkdir", "os.rmdir", "os.remove", "os.rename", "os.link", "os.symlink", "os.chmod", "os.truncate"}
)


def _changes(event, arguments):
    """Whether an audited event changes a file; `open` does where it is for writing."""
    if event == "open":
        mode, flags = arguments[1], arguments[2]
        return bool(set(mode or "") & set("wxa+")) or bool((flags or 0) & (os.O_WRONLY | os.O_RDWR))
    return event in CHANGES


def killed_at(number, folder, act):
    """Run `act` in a process that is killed before its change with this number below a folder; False where it had ended."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # other threads wait, and hold nothing that files need
        child = os.fork()
    if not child:
        left = [number]

        def watch(event, arguments):
            if _changes(event, arguments) and any(str(folder) in str(a) for a in arguments):
                left[0] -= 1
                if not left[0]:
                    os.kill(os.getpid(), signal.SIGKILL)

        code = 1
        try:
            sys.addaudithook(watch)
            act()
            code = 0
        except BaseException:
            traceback.print_exc()
            raise
        finally:
            os._exit(code)
    _, status = os.waitpid(child, 0)
    assert os.WIFSIGNALED(status) or os.WEXITSTATUS(status) == 0, "the command failed by itself"
    return os.WIFSIGNALED(status)


def numbers_until_it_ends(folder, prepare, act):
    """Give the number of each change before which `act` was killed, in what `prepare` makes anew each time."""
    number, killed = 1, True
    while killed:
        prepare()
        killed = killed_at(number, folder, act)
        if killed:
            yield number
        number += 1
