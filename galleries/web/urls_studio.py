"""Below /studio/: what the photographer sees."""

from __future__ import annotations

from django.urls import URLPattern, include, path

from galleries.web import (
    crops,
    delivery_papers,
    desk,
    onset,
    papers_views,
    people,
    studio,
    studio_delivery,
    studio_finals,
    studio_lists,
    studio_sizes,
    studio_usage,
    upload,
)

_overview = [
    path("", studio.overview, name="studio-sitting"),
    path("settings", studio.settings_page, name="studio-settings"),
    path("publish", studio.publish, name="studio-publish"),
    path("keeping", studio.keeping, name="studio-keeping"),
    path("looks/add", studio.add_look, name="studio-look-add"),
    path("looks/<int:look_id>", studio.look_page, name="studio-look"),
    path("looks/<int:look_id>/remove", studio.remove_look, name="studio-look-remove"),
    path("say", studio.say, name="studio-say"),
    path("references/add", studio.add_reference, name="studio-reference-add"),
    path("references/<int:reference_id>.jpg", studio.reference_picture, name="studio-reference"),
    path("references/<int:reference_id>/remove", studio.remove_reference, name="studio-reference-remove"),
    path("journal", studio.journal, name="studio-journal"),
]
_frames = [
    path("upload", upload.upload_page, name="studio-upload"),
    path("upload/known", upload.known, name="studio-upload-known"),
    path("upload/file", upload.put_file, name="studio-upload-file"),
    path("upload/refused", upload.refusals, name="studio-refusals"),
    path("upload/refused/clear", upload.clear_refusals, name="studio-refusals-clear"),
    path("desk", desk.desk, name="studio-desk"),
    path("desk/data", desk.data, name="studio-desk-data"),
    path("desk/act", desk.act, name="studio-desk-act"),
    path("desk/eyes/<int:frame_id>.jpg", desk.eyes, name="studio-eyes"),
    path("set", onset.on_set, name="studio-set"),
    path("set/news", onset.news, name="studio-set-news"),
    path("set/look", onset.start_look, name="studio-set-look"),
    path("contact.pdf", papers_views.contact_sheet, name="studio-contact"),
    path("setup", papers_views.setup, name="studio-setup"),
    path("setup/gel", papers_views.gel, name="studio-gel"),
]
_people = [
    path("people", people.people, name="studio-people"),
    path("people/invite", people.invite, name="studio-invite"),
    path("people/<int:invite_id>/letter", people.send_letter, name="studio-invite-letter"),
    path("people/<int:invite_id>/link", people.show_link, name="studio-invite-link"),
    path("people/<int:invite_id>/revoke", people.revoke, name="studio-invite-revoke"),
    path("people/<int:invite_id>/prolong", people.prolong, name="studio-invite-prolong"),
    path("people/<int:invite_id>/pass-on", people.allow_pass_on, name="studio-invite-pass-on"),
    path("lists", studio_lists.lists, name="studio-lists"),
    path("lists/close", studio_lists.close, name="studio-close"),
    path("lists/reopen", studio_lists.reopen, name="studio-reopen"),
    path("lists/agreed/<str:kind>", studio_lists.agreed_file, name="studio-agreed"),
]
_finals = [
    path("finals", studio_finals.finals, name="studio-finals"),
    path("finals/file", studio_finals.put_retouch, name="studio-retouch-file"),
    path("finals/known", studio_finals.known_retouches, name="studio-retouch-known"),
    path("finals/strays/<int:stray_id>/settle", studio_finals.settle_stray, name="studio-stray-settle"),
    path("finals/strays/<int:stray_id>/drop", studio_finals.drop_stray, name="studio-stray-drop"),
    path("finals/<int:final_id>/brief", studio_finals.write_brief, name="studio-brief"),
    path("finals/<int:final_id>/as-it-is", studio_finals.as_it_is, name="studio-as-it-is"),
    path("finals/notes/<int:note_id>", studio_finals.note_done, name="studio-note-done"),
    path("finals/versions/<int:version_id>.jpg", studio_finals.version_picture, name="studio-version-picture"),
    path("finals/versions/<int:version_id>/made", studio_finals.version_made, name="studio-version-made"),
    path("finals/versions/<int:version_id>/file", studio_finals.version_file, name="studio-version-file"),
    path("finals/<int:final_id>/crops", crops.crops, name="studio-crops"),
    path("finals/<int:final_id>/source.jpg", crops.source_picture, name="studio-crop-source"),
    path("crops/<int:crop_id>", crops.set_crop, name="studio-crop-set"),
    path("crops/<int:crop_id>.jpg", crops.preview, name="studio-crop-preview"),
    path("crops/<int:crop_id>/paper.jpg", crops.paper, name="studio-crop-paper"),
    path("crops/sheet.jpg", crops.preview_sheet, name="studio-crop-sheet"),
    path("delivery", studio_delivery.delivery_page, name="studio-delivery"),
    path("delivery/licence", studio_delivery.licence_page, name="studio-licence"),
    path("delivery/profile", studio_delivery.lab_profile_of, name="studio-lab-profile"),
    path("delivery/prepare", studio_delivery.prepare, name="studio-prepare"),
    path("delivery/<int:delivery_id>/progress", studio_delivery.progress, name="studio-delivery-progress"),
    path("delivery/<int:delivery_id>/change", studio_delivery.change, name="studio-delivery-change"),
    path("delivery/<int:delivery_id>/archive", studio_delivery.archive, name="studio-archive"),
    path("delivery/<int:delivery_id>/paper/<str:name>", delivery_papers.studio_paper, name="studio-delivery-paper"),
    path("delivery/files/<int:file_id>", studio_delivery.delivered_file, name="studio-delivered-file"),
    path("usage", studio_usage.usage_page, name="studio-usage"),
    path("usage/<int:request_id>", studio_usage.answer, name="studio-usage-answer"),
]

urlpatterns: list[URLPattern | object] = [
    path("", studio.sittings, name="studio"),
    path("sittings/new", studio.new_sitting, name="new-sitting"),
    path("sizes", studio_sizes.sizes_page, name="studio-sizes"),
    path("sizes/new", studio_sizes.size_page, name="studio-size-new"),
    path("sizes/<int:size_id>", studio_sizes.size_page, name="studio-size"),
    path("sizes/<int:size_id>/copy", studio_sizes.copy_size, name="studio-size-copy"),
    path("sizes/<int:size_id>/retire", studio_sizes.retire_size, name="studio-size-retire"),
    # A sitting is named after the fixed addresses, so that none of its names can stand for one of theirs.
    path("<slug:slug>/", include([*_overview, *_frames, *_people, *_finals])),
]
