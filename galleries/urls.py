"""Addresses of the product: the doors, the pictures, the studio's pages and those of the people invited."""

from django.urls import include, path

from galleries.web import (
    by_invite,
    certificate_file,
    coming_in,
    entrance,
    files,
    health,
    language,
    logo,
    metrics,
    not_me,
)
from galleries.web.invitee import outbox_worker
from galleries.web.studio import account, second_factor, sessions

urlpatterns = [
    path("", entrance.front, name="front"),
    path("i/<str:token>", by_invite.open_invite, name="open-invite"),
    path("i/<str:token>/again", by_invite.send_again, name="send-invite-again"),
    path("in/<str:token>", entrance.open_sign_in, name="open-sign-in"),
    path("in/<str:token>/not-me", not_me.not_me, name="not-me"),
    path("sign-in", entrance.sign_in, name="sign-in"),
    path("sign-in/second", coming_in.second_step, name="second-step"),
    path("sign-in/second/ask", coming_in.ask_passkey, name="second-step-ask"),
    path("upkeep/login/", entrance.upkeep_sign_in, name="upkeep-sign-in"),
    path("sign-in/link", entrance.ask_link, name="ask-link"),
    path("desk", entrance.desk, name="desk"),
    path("account", account.account, name="account"),
    path("account/data", account.change_data, name="account-data"),
    path("account/password", account.change_password, name="account-password"),
    path("account/second-factor", second_factor.second_factor, name="second-factor"),
    path("account/second-factor/begin", second_factor.begin, name="second-factor-begin"),
    path("account/second-factor/leave", second_factor.leave_off, name="second-factor-leave"),
    path("account/second-factor/confirm", second_factor.confirm, name="second-factor-confirm"),
    path("account/second-factor/passkey/ask", second_factor.ask_passkey, name="second-factor-passkey-ask"),
    path("account/second-factor/passkey", second_factor.add_passkey, name="second-factor-passkey"),
    path("account/second-factor/codes", second_factor.new_codes, name="second-factor-codes"),
    path("account/second-factor/remove", second_factor.remove, name="second-factor-remove"),
    path("account/sessions", sessions.sessions, name="sessions"),
    path("account/sessions/<int:session_id>/end", sessions.end, name="session-end"),
    path("account/sessions/end-others", sessions.end_others, name="sessions-end-others"),
    path("leave", entrance.leave, name="leave"),
    path("language", language.language, name="language"),
    path("certificate.pem", certificate_file.certificate_file, name="certificate"),
    path("logo/<str:digest>.png", logo.logo, name="logo"),
    path("outbox-worker.js", outbox_worker.outbox_worker, name="outbox-worker"),
    path("files/proof/<int:frame_id>/<str:kind>/<int:version>.jpg", files.proof_picture, name="proof-picture"),
    path("files/view/<int:frame_id>.jpg", files.view_picture, name="view-picture"),
    path("files/original/<int:frame_id>", files.original, name="original"),
    path("health/live", health.live, name="health-live"),
    path("metrics", metrics.metrics, name="metrics"),
    path("health/ready", health.ready, name="health-ready"),
    path("s/<slug:slug>/", include("galleries.web.invitee.urls")),
    path("studio/", include("galleries.web.studio.urls")),
]
