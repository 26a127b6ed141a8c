"""The grown way whole, each part a real server of its own: PostgreSQL, Redis, an S3-compatible store, nginx, SMTP."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from email import message_from_bytes, policy
from pathlib import Path
from typing import Any

import boto3
from aiosmtpd.controller import Controller
from botocore.config import Config

from tests import servers
from tests.services.proxy import Proxy, nginx_configuration
from tests.services.site import ROOT, Site

sys.path.insert(0, str(ROOT / "deploy"))
from server import pieces

KEY, SECRET = "portal-test-key", "portal-test-secret-1234567890"
PRIVATE, PROOFS = "originals", "proofs"


class Postbox:
    """Every letter that came in: to whom, and its words."""

    def __init__(self) -> None:
        self.letters: list[tuple[str, str]] = []

    async def handle_DATA(self, _server: Any, _session: Any, envelope: Any) -> str:
        message: Any = message_from_bytes(envelope.content, policy=policy.default)
        self.letters.append((envelope.rcpt_tos[0], message.get_body(("plain",)).get_content()))
        return "250 Message accepted for delivery"


class Grown(Proxy):
    """`web` is the web server's first process; `postbox` has the letters."""

    web: servers.Server
    postbox: Postbox


@contextmanager
def grown_site(folder: Path) -> Iterator[Grown]:
    """Web server and proxy run; a worker is the test's own affair (`site.worker`)."""
    home, bucket = folder / "site", folder / "bucket"
    home.mkdir()
    bucket.mkdir()
    plain, port, mail = servers.free_ports(3)
    with ExitStack() as stack:
        database = stack.enter_context(servers.postgresql_server())
        queue = stack.enter_context(servers.redis_server(folder))
        store = stack.enter_context(servers.bucket_server(bucket, KEY, SECRET))
        make_buckets(store.address)
        postbox = Postbox()
        controller = Controller(postbox, hostname="127.0.0.1", port=mail)
        controller.start()
        stack.callback(controller.stop)
        site = Site(
            home,
            PORTAL_URL=f"https://localhost:{port}",
            PORTAL_HOSTS="localhost",
            PORTAL_BEHIND_PROXY="yes",
            PORTAL_INTERNAL_REDIRECT="yes",
            PORTAL_DATABASE=database.address,
            PORTAL_REDIS=queue.address,
            PORTAL_FILES="s3",
            PORTAL_S3_ENDPOINT=store.address,
            PORTAL_S3_KEY=KEY,
            PORTAL_S3_SECRET=SECRET,
            PORTAL_S3_BUCKET_PRIVATE=PRIVATE,
            PORTAL_S3_BUCKET_PROOFS=PROOFS,
            PORTAL_MAIL="smtp",
            PORTAL_SMTP_HOST="127.0.0.1",
            PORTAL_SMTP_PORT=str(mail),
        )
        site.collect_static()
        site.python(
            "from django.core.management import call_command as call\ncall('migrate', verbosity=0)\ncall('sizes')"
        )
        certificate = [str(ROOT / "deploy" / "set-certificate"), "localhost"]
        subprocess.run(certificate, env=site.env, check=True, capture_output=True)
        web = stack.enter_context(site.web(folder / "web.sock"))
        (folder / "store.conf").write_text(pieces.store(site.env, "", ""))
        conf = nginx_configuration(folder, plain, port, "localhost")
        command = ["nginx", "-c", str(conf), "-p", str(folder), "-g", "daemon off;"]
        stack.enter_context(servers.running(command, "", lambda: servers.listens(port), folder / "nginx.log"))
        grown = Grown(port, plain, site, {}, folder, "localhost")
        grown.web, grown.postbox = web, postbox
        yield grown


def make_buckets(endpoint: str, names: tuple[str, ...] = (PRIVATE, PROOFS)) -> None:
    config = Config(s3={"addressing_style": "path"})
    client = boto3.client(
        "s3", endpoint_url=endpoint, aws_access_key_id=KEY, aws_secret_access_key=SECRET, config=config,
        region_name="us-east-1",
    )  # fmt: skip
    for name in names:
        client.create_bucket(Bucket=name)
