"""What the kernels of the command `lab` run first: a name that is not known yet is answered with what to do about it."""


def say_run_all(shell, kind, value, trace, tb_offset=None):
    """Answer a NameError in a notebook of the kit: cells were run out of order, or the kernel was started anew."""
    name = getattr(value, "name", None) or str(value)
    print(
        f"This cell needs {name}, which a cell above makes. Run all cells from the top: menu Run, then Run All Cells. "
        "(After a restart of the kernel every notebook has to be run from the top once.)"
    )
    return []


def begin():
    """Set the answer up in the kernel that runs this file, and run the user's own start-up file after it."""
    import os
    from pathlib import Path

    from IPython import get_ipython

    shell = get_ipython()
    if shell is not None:
        shell.set_custom_exc((NameError,), say_run_all)
    own = os.environ.get("STUDY_KIT_OWN_STARTUP", "")
    if own and Path(own).is_file():
        exec(compile(Path(own).read_text(encoding="utf-8"), own, "exec"), {"__name__": "__main__"})


if __name__ == "__main__":
    begin()
    del begin, say_run_all
