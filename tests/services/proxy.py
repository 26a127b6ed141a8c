"""A site behind the proxy of the grown way, and somebody who asks it over https."""

from __future__ import annotations

import http.client
import os
import re
import ssl
from dataclasses import dataclass, field
from pathlib import Path

from portal import cookies
from tests.services.site import ROOT, Site

GROWN = ROOT / "deploy" / "grown"
SESSION, DEVICE, FORM = (cookies.name(what, secure=True) for what in ("session", "device", "form"))


@dataclass
class Proxy:
    port: int
    plain: int
    site: Site
    things: dict[str, object]
    folder: Path
    host: str = "portal.example"
    cookies: dict[str, str] = field(default_factory=dict)

    def get(
        self, path: str, headers: dict[str, str] | None = None, method: str = "GET", cookie: str = "", body: str = ""
    ) -> tuple[int, http.client.HTTPMessage, bytes]:
        context = ssl.create_default_context(cafile=str(self.folder / "site" / "tls" / f"{self.host}.crt"))
        context.minimum_version = ssl.TLSVersion.TLSv1_2
        line = http.client.HTTPSConnection("127.0.0.1", self.port, timeout=30, context=context)
        context.check_hostname = (
            False  # the certificate is for the name, we come by address; it is checked all the same
        )
        all_headers = {"Host": self.host, **(headers or {})}
        if cookie:
            all_headers["Cookie"] = cookie
        line.request(method, path, body=body or None, headers=all_headers)
        answer = line.getresponse()
        read = answer.read()
        line.close()
        return answer.status, answer.headers, read

    def come_in(self, link: str) -> str:
        """Exchange a link for the session's cookie, as a browser does: by a press, and without it once it is known."""
        status, headers, page = self.get(link, cookie=self.cookies.get(DEVICE, ""))
        if status == 200:
            token = re.search(rb'name="csrfmiddlewaretoken" value="([^"]+)"', page)
            assert token is not None
            form = {"Content-Type": "application/x-www-form-urlencoded", "Origin": self.site.env["PORTAL_URL"]}
            pressed, cookie = f"csrfmiddlewaretoken={token[1].decode()}", given(headers, FORM)
            status, headers, _page = self.get(link, form, "POST", cookie=cookie, body=pressed)
            self.cookies[DEVICE] = given(headers, DEVICE)
        assert status == 302, status
        return given(headers, SESSION)


def given(headers: http.client.HTTPMessage, name: str) -> str:
    """The cookie of that name, 'name=value', which must be for this host alone."""
    one = next(one for one in headers.get_all("Set-Cookie", []) if one.startswith(f"{name}="))
    cookie, *bounds = one.split("; ")
    assert {"Secure", "HttpOnly", "Path=/"} <= set(bounds)
    assert not any(bound.startswith("Domain") for bound in bounds)
    return cookie


def nginx_configuration(folder: Path, plain: int, port: int, host: str = "portal.example") -> Path:
    """The files of deploy/grown with this machine's names in place of the example's; nothing else is changed.
    A `store.conf` that is in the folder is put in as well."""
    names = {
        "unix:/run/portal-web-1/web.sock": f"unix:{folder}/starting-anew.sock",  # the other set answers meanwhile
        "unix:/run/portal-web-2/web.sock": f"unix:{folder}/web.sock",
        "/srv/portal/acme": f"{folder}/acme",
        "listen 80;": f"listen 127.0.0.1:{plain};",
        "listen 443 ssl http2;": f"listen 127.0.0.1:{port} ssl http2;",
        "/etc/portal/tls/portal.": f"{folder}/site/tls/{host}.",
        "/etc/portal/": f"{folder}/",
        "/srv/portal/static/": f"{folder}/site/static/",
        "/srv/portal/files/": f"{folder}/site/files/",
        "/var/log/nginx/": f"{folder}/",
    }
    texts = {name: (GROWN / name).read_text() for name in ("nginx.conf", "proxy.conf", "private-files.conf")}
    if (folder / "store.conf").exists():
        texts["store.conf"] = (folder / "store.conf").read_text()
    for name, text in texts.items():
        for old, new in names.items():
            text = text.replace(old, new)
        (folder / ("portal.conf" if name == "nginx.conf" else name)).write_text(text)
    whole = folder / "whole.conf"
    whole.write_text(
        ("user root;\n" if os.getuid() == 0 else "")
        + f"pid {folder}/nginx.pid;\nerror_log {folder}/error.log;\nworker_processes 1;\n"
        + "events { worker_connections 256; }\nhttp {\n  include /etc/nginx/mime.types;\n"
        + f"  client_body_temp_path {folder}/body;\n  proxy_temp_path {folder}/proxy;\n"
        + f"  fastcgi_temp_path {folder}/f;\n  uwsgi_temp_path {folder}/u;\n  scgi_temp_path {folder}/s;\n"
        + f"  include {folder}/portal.conf;\n}}\n"
    )
    return whole
