"""Whether a process is still the one that was meant: by the kernel's moment of its start, since numbers come again.

Only Python's own library is used here.
"""

from __future__ import annotations

from pathlib import Path


def started(pid: int) -> str:
    """When the process began, in the kernel's ticks (proc(5)); '' when it is gone or has ended unburied."""
    try:
        fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
        return "" if fields[0] in "ZX" else fields[19]
    except (OSError, IndexError):
        return ""
