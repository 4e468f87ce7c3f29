"""Who may look into a data folder: cars and plates are in it, so it is closed to others where that is ours to do."""

import contextlib
import os
import stat
from enum import Enum
from pathlib import Path

_OTHERS = 0o077


class Rights(Enum):
    """What became of the rights of a data folder."""

    OWN = "own"
    SHARED = "shared"
    NOT_OURS = "not ours"
    NOT_CHANGED = "not changed"
    OTHER_SYSTEM = "other system"


def tighten(folder: Path, read_only: bool) -> Rights:
    """Let nobody but its owner into a data folder of ours (0700, files 0600), and say what became of it.

    ``read_only`` changes nothing.
    A folder that others may write into, or whose files go to its group, is taken as shared on purpose and left alone;
    a group of which this user is the only member is nobody else. Files first: a folder closed means that all is done.
    """
    if os.name != "posix":
        return Rights.OTHER_SYSTEM
    try:
        found = folder.stat()
        if not stat.S_IMODE(found.st_mode) & _OTHERS:
            return Rights.OWN
        if found.st_uid != os.geteuid():
            return Rights.NOT_OURS
        if _is_shared(found):
            return Rights.SHARED
        if read_only:
            return Rights.NOT_CHANGED
        for path in (*folder.rglob("*"), folder):
            _close(path)
    except OSError:
        return Rights.NOT_CHANGED
    return Rights.OWN


def _close(path: Path) -> None:
    with contextlib.suppress(FileNotFoundError):
        mode = path.lstat().st_mode
        if stat.S_ISDIR(mode) or stat.S_ISREG(mode):
            path.chmod(stat.S_IMODE(mode) & ~_OTHERS)


def _is_shared(found: os.stat_result) -> bool:
    mode = found.st_mode
    if mode & (stat.S_IWOTH | stat.S_ISGID):
        return True
    return bool(mode & stat.S_IWGRP) and not _is_private_group(found.st_gid)


def _is_private_group(group_id: int) -> bool:
    """Return whether a group is the one that many systems make for each user, with nobody else in it."""
    import grp
    import pwd

    try:
        group, user = grp.getgrgid(group_id), pwd.getpwuid(os.geteuid())
    except KeyError:
        return False
    return group_id == user.pw_gid and group.gr_name == user.pw_name and not set(group.gr_mem) - {user.pw_name}
