"""What is done to the server: files written, commands run. Each only when it would change something, and each said.

`say_only` looks and tells, and changes nothing. `root` is where the server's files begin, for trying it in a folder.
"""

from __future__ import annotations

import grp
import os
import pwd
import shutil
import subprocess
from dataclasses import dataclass, field
from pathlib import Path


class Trouble(Exception):
    """One sentence for the person at the terminal."""


@dataclass
class Machine:
    root: Path = Path("/")
    say_only: bool = False
    changes: list[str] = field(default_factory=list)  # what was changed, or would be

    def at(self, path: str) -> Path:
        return self.root / path.lstrip("/")

    def note(self, line: str) -> None:
        self.changes.append(line)
        print(("Would: " if self.say_only else "") + line, flush=True)

    # --- looking ---

    def read(self, path: str) -> str:
        """'' where there is no such file."""
        try:
            return self.at(path).read_text()
        except FileNotFoundError:
            return ""

    def ask(self, *command: str, user: str = "") -> tuple[bool, str]:
        """Whether a command that changes nothing went well, and what it printed. One that is missing did not."""
        words = ["runuser", "-u", user, "--", *command] if user else list(command)
        try:
            done = subprocess.run(words, check=False, capture_output=True, text=True, timeout=60, cwd="/")
        except (FileNotFoundError, subprocess.TimeoutExpired):
            return False, ""
        return done.returncode == 0, (done.stdout + done.stderr).strip()

    # --- changing ---

    def write(self, path: str, text: str, mode: int = 0o644, owner: str = "root", about: str = "") -> bool:
        """Whether the file was another; it appears whole, and is nobody else's before it is closed to others."""
        there = self.at(path)
        if there.exists() and there.read_text() == text and there.stat().st_mode & 0o7777 == mode:
            return False
        self.note(f"write {path}{f' ({about})' if about else ''}")
        if not self.say_only:
            there.parent.mkdir(parents=True, exist_ok=True)
            part = there.with_name(f".{there.name}.part")
            part.unlink(missing_ok=True)
            with open(part, "x", opener=lambda name, flags: os.open(name, flags, 0o600)) as out:
                out.write(text)
            self._give(part, owner)
            part.chmod(mode)
            part.replace(there)
        return True

    def folder(self, path: str, mode: int = 0o755, owner: str = "root") -> None:
        there = self.at(path)
        if there.is_dir() and there.stat().st_mode & 0o7777 == mode:
            return
        self.note(f"make the folder {path}, {mode:o}, of {owner}")
        if not self.say_only:
            there.mkdir(parents=True, exist_ok=True)
            self._give(there, owner)
            there.chmod(mode)

    def link(self, path: str, to: str) -> bool:
        """A symbolic link, changed in one step: nobody finds none."""
        there = self.at(path)
        if there.is_symlink() and os.readlink(there) == to:
            return False
        self.note(f"let {path} lead to {to}")
        if not self.say_only:
            part = there.with_name(f".{there.name}.part")
            part.unlink(missing_ok=True)
            part.symlink_to(to)
            part.replace(there)
        return True

    def copy_code(self, source: Path, path: str) -> None:
        """The checkout without what it made for itself."""
        if self.at(path).is_dir():
            return
        self.note(f"copy {source} to {path}")
        if not self.say_only:
            left = shutil.ignore_patterns(".venv", ".site", ".cache", ".git", "__pycache__", ".*_cache")
            part = self.at(path + ".part")
            shutil.rmtree(part, ignore_errors=True)
            shutil.copytree(source, part, ignore=left, symlinks=True)
            part.chmod(0o755)
            part.rename(self.at(path))

    def run(
        self,
        *command: str,
        user: str = "",
        env: dict[str, str] | None = None,
        cwd: str = "/",
        about: str = "",
    ) -> str:
        """What it printed. `about` stands for the command where that would show a secret, or nobody would read it.

        Raises:
            Trouble: it went wrong, with the last it said.
        """
        self.note(about or "run " + " ".join(command))
        if self.say_only:
            return ""
        who = pwd.getpwnam(user) if user else None
        always = {"PATH": os.environ.get("PATH", "/usr/sbin:/usr/bin:/sbin:/bin"), "LC_ALL": "C.UTF-8"}
        try:
            done = subprocess.run(
                command, check=False, capture_output=True, text=True, cwd=self.at(cwd),
                env=always | (env or {}),
                user=who.pw_uid if who else None, group=who.pw_gid if who else None,
                extra_groups=os.getgrouplist(user, who.pw_gid) if who else None,
            )  # fmt: skip
        except FileNotFoundError:
            raise Trouble(f"{command[0]} is missing.") from None
        if done.returncode:
            raise Trouble(f"{about or ' '.join(command)}: {reason(done.stdout + done.stderr) or 'no reason given'}")
        return done.stdout

    def _give(self, path: Path, owner: str) -> None:
        if os.getuid() == 0 and owner != "root":
            name, _colon, group = owner.partition(":")
            user = pwd.getpwnam(name)
            os.chown(path, user.pw_uid, grp.getgrnam(group).gr_gid if group else user.pw_gid)


def reason(output: str) -> str:
    """Of what a command wrote: its 'Detail:' (certbot tells there what the authority said), else its last line."""
    lines = [line.strip() for line in output.strip().splitlines()]
    details = [line.removeprefix("Detail:").strip() for line in lines if line.startswith("Detail:")]
    return (details or lines or [""])[-1]
