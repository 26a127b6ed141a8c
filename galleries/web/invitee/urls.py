"""Below /s/<slug>/: what somebody invited sees."""

from __future__ import annotations

from django.urls import URLPattern, path

from galleries.web.invitee import (
    as_casting,
    compare,
    delivery,
    delivery_papers,
    finals,
    kept_back,
    lists,
    objection,
    own_copy,
    plan,
    sheet,
)

urlpatterns: list[URLPattern] = [
    path("", sheet.sitting, name="sitting"),
    path("plan", plan.plan, name="plan"),
    path("deadlines.ics", plan.deadlines_file, name="deadlines"),
    path("plan/picture/<int:reference_id>.jpg", plan.reference, name="reference"),
    path("sheet", sheet.sheet, name="sheet"),
    path("marks", sheet.marks, name="marks"),
    path("changes", sheet.changes, name="changes"),
    path("frame/<int:frame_id>", sheet.remarks, name="remarks"),
    path("compare", compare.compare, name="compare"),
    path("as-casting", as_casting.as_casting, name="as-casting"),
    path("lists", lists.lists, name="lists"),
    path("object", objection.objection, name="objection"),
    path("done", sheet.done, name="done"),
    path("look-say", sheet.look_say, name="look-say"),
    path("kept-back", kept_back.kept_back, name="kept-back"),
    path("pass-on", plan.pass_on, name="pass-on"),
    path("finals", finals.finals, name="finals"),
    path("final/<int:final_id>", finals.final, name="final"),
    path("version/<int:version_id>.jpg", finals.version_picture, name="version-picture"),
    path("delivery", delivery.delivery, name="delivery"),
    path("delivery/accept", delivery.accept, name="accept-licence"),
    path("delivery/<int:delivery_id>/passcode", delivery.passcode, name="passcode"),
    path("delivery/<int:delivery_id>/archive", delivery.archive, name="archive"),
    path("delivery/<int:delivery_id>/use/<slug:use>.zip", delivery.for_use, name="for-use"),
    path("delivery/<int:delivery_id>/paper/<str:name>", delivery_papers.paper, name="delivery-paper"),
    path("delivery/file/<int:file_id>", delivery.delivered_file, name="delivered-file"),
    path("delivery/picture/<int:file_id>.jpg", delivery.file_picture, name="file-picture"),
    path("about-me", own_copy.own_copy, name="own-copy"),
    path("about-me/<int:copy_id>/archive", own_copy.archive, name="own-copy-archive"),
    path("ask-use", delivery.ask_use, name="ask-use"),
]
