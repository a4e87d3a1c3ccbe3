"""Calm lines for the person who waits, and the one kind of error that ends a set-up."""

from __future__ import annotations

import errno
import sys


class SetUpError(Exception):
    """The set-up cannot go on; the text says what is wrong and what to do."""


def say(line: str) -> None:
    """Write one line to the standard error, at once."""
    print(line, file=sys.stderr, flush=True)


def last_words(output: str, count: int) -> str:
    """Return the last `count` lines of another program's output, indented."""
    return "\n".join(f"    {line}" for line in output.strip().splitlines()[-count:])


def from_operating_system(error: OSError, where: str) -> SetUpError:
    """Return what to tell a person about an error met while writing under the folder `where`."""
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return disk_full(where)
    if error.errno in (errno.EROFS, errno.EACCES, errno.EPERM):
        return not_writable(where)
    return SetUpError(f"The set-up could not write to {where}: {error.strerror}.")


def disk_full(where: str) -> SetUpError:
    """Return the sentence for a disk without room."""
    return SetUpError(f"The disk that holds {where} is full. Make room there and start again.")


def not_writable(where: str) -> SetUpError:
    """Return the sentence for a folder that may not be changed."""
    return SetUpError(
        f"The folder {where} cannot be written, and the set-up has to put the Python packages there.\n"
        "Copy the project to a folder of your own and start it there, or have its owner start it once."
    )


def no_network(what: str) -> SetUpError:
    """Return the sentence for `what` (the source of the packages) being out of reach."""
    return SetUpError(
        f"{what} cannot be reached. The first start needs the network; later starts do not.\n"
        "Check the connection (and the proxy settings, if there is a proxy) and start again."
    )
