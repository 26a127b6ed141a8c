"""What the child that decodes may still do, taken from it before the first foreign byte.

No new privileges, no other program, no process of its own, no socket, no file but the code it is made of (read
only) and the descriptors handed over; memory, processor time, size of what it writes and number of descriptors
are limited. Each part is tried by itself: a kernel without it is named in `Held`, which the parent logs once and
the system check shows. Landlock by its system calls (linux/landlock.h, from the kernel's documentation), the
filter by libseccomp, which Debian's apt itself needs.
"""

from __future__ import annotations

import ctypes
import ctypes.util
import os
import resource
import stat
import struct
import sys
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

NOBODY = 65534
DESCRIPTORS = 128
WRITTEN = 2_000_000_000  # bytes of one answer
THREADS = 256  # of the own user, all its children together
_PR_SET_DUMPABLE, _PR_GET_SECCOMP, _PR_SET_NO_NEW_PRIVS = 4, 21, 38
_CREATE, _ADD, _RESTRICT = 444, 445, 446  # landlock's system calls, the same number on every architecture
_CAPSET, _CAPABILITIES_3 = {"x86_64": 126, "aarch64": 91}.get(os.uname().machine, -1), 0x20080522
_READ = (1 << 2) | (1 << 3)  # LANDLOCK_ACCESS_FS_READ_FILE, READ_DIR
_FS_BITS = {1: 13, 2: 14, 3: 15, 4: 15, 5: 16}
_ALLOW, _EPERM, _ENOSYS = 0x7FFF0000, 0x00050000 | 1, 0x00050000 | 38
_CLONE_THREAD = 0x00010000
_MASKED_EQ = 7
CALLS = (
    *("read", "write", "readv", "writev", "pread64", "pwrite64", "lseek", "close", "dup", "dup2", "dup3", "fcntl"),
    *("open", "openat", "stat", "fstat", "lstat", "newfstatat", "statx", "access", "faccessat", "faccessat2"),
    *("readlink", "readlinkat", "getdents64", "getcwd", "ftruncate", "memfd_create", "fadvise64"),
    *("mmap", "munmap", "mremap", "mprotect", "madvise", "brk", "msync", "mincore"),
    *("futex", "futex_waitv", "set_robust_list", "get_robust_list", "rseq", "set_tid_address", "membarrier"),
    *("sched_yield", "sched_getaffinity", "sched_setaffinity", "sched_getparam", "sched_getscheduler"),
    *("sched_setscheduler", "getpriority", "getcpu", "gettid", "getpid", "getppid", "getuid", "geteuid", "getgid"),
    *("getegid", "getresuid", "getresgid", "uname", "sysinfo", "getrandom", "getrusage", "times"),
    *("clock_gettime", "clock_getres", "clock_nanosleep", "nanosleep", "gettimeofday", "time", "setitimer", "alarm"),
    *("rt_sigaction", "rt_sigprocmask", "rt_sigreturn", "sigaltstack", "restart_syscall", "tgkill", "exit"),
    *("exit_group", "poll", "ppoll", "select", "pselect6", "recvmsg", "sendmsg", "recvfrom", "sendto"),
    *("pipe2", "eventfd2", "ioctl", "arch_prctl", "prctl", "getrlimit", "prlimit64", "setrlimit"),
)


@dataclass(frozen=True)
class Held:
    """Which walls stand: Landlock's version (0: none), the filter of system calls, a user of its own."""

    landlock: int
    calls: bool
    own_user: bool

    @property
    def missing(self) -> tuple[str, ...]:
        parts = (("Landlock", bool(self.landlock)), ("seccomp", self.calls))
        return tuple(name for name, held in parts if not held)


_libc = ctypes.CDLL(None, use_errno=True)


def shut(memory: int, *, own_user: bool) -> Held:
    """Close the cage round this process, for good. `memory`: bytes beyond what it holds now.

    `own_user`: it was started as a user of its own already.
    """
    _libc.prctl(_PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0)
    own_user = _other_user() or own_user
    _limit(memory, own_user)
    _libc.syscall(_CAPSET, struct.pack("<Ii", _CAPABILITIES_3, 0), bytes(24))  # root's rights are nobody's here
    landlock = _landlock(code_folders())
    return Held(landlock, _filter(), own_user)


def available() -> Held:
    """What this machine could hold, without shutting anything; cheap."""
    try:
        ctypes.CDLL("libseccomp.so.2")
        calls = int(_libc.prctl(_PR_GET_SECCOMP, 0, 0, 0, 0)) >= 0
    except OSError:
        calls = False
    return Held(max(0, int(_libc.syscall(_CREATE, None, 0, 1))), calls, os.geteuid() != 0)


def code_folders() -> list[Path]:
    """All that may still be read: the interpreter, the libraries, the fonts and this program's own code."""
    here = Path(__file__).resolve().parents[2]
    places = [sys.prefix, sys.base_prefix, "/usr/lib", "/usr/share/fonts", "/lib", "/lib64", "/etc/ld.so.cache"]
    places += [place for place in sys.path if place and "site-packages" in place]
    root = here.parent.resolve()
    real = {Path(place).resolve() for place in places} | {here}
    return sorted(place for place in real if place.exists() and place != Path("/") and place != root)


def _other_user() -> bool:
    """Root becomes nobody, where nobody may read the code."""
    if os.geteuid() != 0:
        return False
    here, libraries, interpreter = (Path(place).resolve() for place in (__file__, sys.prefix, sys.base_prefix))
    for place in {here.parent, *here.parents, libraries, *libraries.parents, interpreter, *interpreter.parents}:
        if not place.stat().st_mode & stat.S_IXOTH:
            return False
    try:
        os.setgroups([])
        os.setresgid(NOBODY, NOBODY, NOBODY)
        os.setresuid(NOBODY, NOBODY, NOBODY)
    except OSError:
        return False
    _libc.prctl(_PR_SET_DUMPABLE, 1, 0, 0, 0)  # else its own /proc/self/fd is closed to it
    return True


def _limit(memory: int, own_user: bool) -> None:
    pages = int(Path("/proc/self/statm").read_text().split()[0])
    most = pages * resource.getpagesize() + memory
    for what, value in (
        (resource.RLIMIT_AS, most),
        (resource.RLIMIT_CORE, 0),
        (resource.RLIMIT_FSIZE, WRITTEN),
        (resource.RLIMIT_NOFILE, DESCRIPTORS),
        *(((resource.RLIMIT_NPROC, THREADS),) if own_user else ()),  # it counts per user: elsewhere the filter decides
    ):
        hard = resource.getrlimit(what)[1]
        least = value if hard == resource.RLIM_INFINITY else min(value, hard)
        resource.setrlimit(what, (least, least))


def more_time(seconds: float) -> None:
    """Processor time for the next piece of work, counted from now; the kernel ends the process beyond it."""
    used = resource.getrusage(resource.RUSAGE_SELF)
    hard = resource.getrlimit(resource.RLIMIT_CPU)[1]
    resource.setrlimit(resource.RLIMIT_CPU, (int(used.ru_utime + used.ru_stime + max(0.0, seconds)) + 2, hard))


def _landlock(readable: list[Path]) -> int:
    """The version that holds, 0 for none."""
    version = int(_libc.syscall(_CREATE, None, 0, 1))
    if version < 1:
        return 0
    files = (1 << _FS_BITS.get(version, 16)) - 1
    net = 0b11 if version >= 4 else 0
    scoped = 0b11 if version >= 6 else 0
    rules = struct.pack("<QQQ", files, net, scoped)
    size = 24 if version >= 6 else 16 if version >= 4 else 8
    ruleset = int(_libc.syscall(_CREATE, rules, size, 0))
    if ruleset < 0:
        return 0
    try:
        for place in readable:
            handle = os.open(place, os.O_PATH | os.O_CLOEXEC)
            allowed = _READ if place.is_dir() else 1 << 2
            _libc.syscall(_ADD, ruleset, 1, struct.pack("<Qi", allowed, handle), 0)
            os.close(handle)
        return version if _libc.syscall(_RESTRICT, ruleset, 0) == 0 else 0
    finally:
        os.close(ruleset)


class _Compare(ctypes.Structure):
    _fields_ = (("arg", ctypes.c_uint), ("op", ctypes.c_int), ("a", ctypes.c_uint64), ("b", ctypes.c_uint64))


def _filter() -> bool:
    """Every system call refused (EPERM) that is not on the list; threads yes, processes no."""
    try:
        lib = ctypes.CDLL("libseccomp.so.2")
    except OSError:
        return False
    lib.seccomp_init.restype = ctypes.c_void_p
    lib.seccomp_init.argtypes = [ctypes.c_uint32]
    lib.seccomp_rule_add_array.argtypes = [
        *(ctypes.c_void_p, ctypes.c_uint32, ctypes.c_int, ctypes.c_uint, ctypes.c_void_p)
    ]  # fmt: skip
    lib.seccomp_load.argtypes = lib.seccomp_release.argtypes = [ctypes.c_void_p]
    context = lib.seccomp_init(_EPERM)
    if not context:
        return False

    def add(action: int, name: str, *how: _Compare) -> None:
        number = lib.seccomp_syscall_resolve_name(name.encode())
        if number >= 0:  # else: not on this architecture
            array = (_Compare * len(how))(*how) if how else None
            lib.seccomp_rule_add_array(context, action, number, len(how), array)

    for name in CALLS:
        add(_ALLOW, name)
    add(_ENOSYS, "clone3")  # its flags cannot be seen by a filter; the C library falls back to clone
    add(_ALLOW, "clone", _Compare(0, _MASKED_EQ, _CLONE_THREAD, _CLONE_THREAD))
    try:
        return bool(lib.seccomp_load(context) == 0)
    finally:
        with suppress(OSError):
            lib.seccomp_release(context)
