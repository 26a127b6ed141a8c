"""The front of the embedded site: nginx, set up for one folder and one port. Only Python's own library is used here."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

HERE = Path(__file__).resolve().parent
PLACES = ("/usr/sbin/nginx", "/usr/local/sbin/nginx")  # not on everybody's PATH
MIME = ("/etc/nginx/mime.types", "/usr/local/etc/nginx/mime.types")


def program() -> str:
    """Where nginx is; '' when it is not on this machine."""
    return shutil.which("nginx") or next((path for path in PLACES if os.access(path, os.X_OK)), "")


def web_socket(home: Path, queue_socket: Path) -> Path:
    """Where the web server listens: beside the queue's socket, whose path is short enough for the kernel."""
    return queue_socket.with_name("web.sock")


def command(home: Path, socket: Path, host: str, port: int, tls: tuple[Path, Path] | None, files: Path) -> list[str]:
    """Write the configuration into `home`, and say how to start it.

    `files` holds the folders `private` and `proofs`; `tls` is certificate and key.
    """
    folder = home / "front"
    folder.mkdir(mode=0o700, exist_ok=True)
    secured = f"ssl_certificate {tls[0]};\n        ssl_certificate_key {tls[1]};" if tls else ""
    names = {
        "@HOME@": str(home),
        "@SOCKET@": str(socket),
        "@LISTEN@": f"{host}:{port}{' ssl http2' if tls else ''}",
        "@TLS@": secured,
        "@FILES@": str(files),
        "@GROWN@": str(HERE / "grown"),
        "@MIME@": next((path for path in MIME if Path(path).exists()), "/dev/null"),
    }
    text = (HERE / "embedded" / "front.conf").read_text()
    for name, value in names.items():
        text = text.replace(name, value)
    if os.getuid() == 0:  # its workers would otherwise give up the right to read what is the owner's alone
        text = f"user root;\n{text}"
    conf = folder / "nginx.conf"
    conf.write_text(text)
    return [program(), "-c", str(conf), "-p", str(folder), "-e", str(home / "log" / "front.log"), "-g", "daemon off;"]
