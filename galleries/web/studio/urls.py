"""Below /studio/: what the photographer sees."""

from __future__ import annotations

from django.urls import URLPattern, include, path

from galleries.web.studio import (
    crops,
    delivery,
    delivery_papers,
    desk,
    finals,
    lists,
    on_set,
    papers,
    people,
    sittings,
    sizes,
    upload,
    usage,
)

_overview = [
    path("", sittings.overview, name="studio-sitting"),
    path("settings", sittings.settings_page, name="studio-settings"),
    path("publish", sittings.publish, name="studio-publish"),
    path("keeping", sittings.keeping, name="studio-keeping"),
    path("looks/add", sittings.add_look, name="studio-look-add"),
    path("looks/<int:look_id>", sittings.look_page, name="studio-look"),
    path("looks/<int:look_id>/remove", sittings.remove_look, name="studio-look-remove"),
    path("say", sittings.say, name="studio-say"),
    path("references/add", sittings.add_reference, name="studio-reference-add"),
    path("references/<int:reference_id>.jpg", sittings.reference_picture, name="studio-reference"),
    path("references/<int:reference_id>/remove", sittings.remove_reference, name="studio-reference-remove"),
    path("journal", sittings.journal, name="studio-journal"),
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
    path("set", on_set.on_set, name="studio-set"),
    path("set/news", on_set.news, name="studio-set-news"),
    path("set/look", on_set.start_look, name="studio-set-look"),
    path("contact.pdf", papers.contact_sheet, name="studio-contact"),
    path("setup", papers.setup, name="studio-setup"),
    path("setup/gel", papers.gel, name="studio-gel"),
]
_people = [
    path("people", people.people, name="studio-people"),
    path("people/invite", people.invite, name="studio-invite"),
    path("people/<int:invite_id>/letter", people.send_letter, name="studio-invite-letter"),
    path("people/<int:invite_id>/link", people.show_link, name="studio-invite-link"),
    path("people/<int:invite_id>/revoke", people.revoke, name="studio-invite-revoke"),
    path("people/<int:invite_id>/prolong", people.prolong, name="studio-invite-prolong"),
    path("people/<int:invite_id>/pass-on", people.allow_pass_on, name="studio-invite-pass-on"),
    path("lists", lists.lists, name="studio-lists"),
    path("lists/close", lists.close, name="studio-close"),
    path("lists/reopen", lists.reopen, name="studio-reopen"),
    path("lists/agreed/<str:kind>", lists.agreed_file, name="studio-agreed"),
]
_finals = [
    path("finals", finals.finals, name="studio-finals"),
    path("finals/file", finals.put_retouch, name="studio-retouch-file"),
    path("finals/send", finals.send_retouches, name="studio-send-retouches"),
    path("finals/known", finals.known_retouches, name="studio-retouch-known"),
    path("finals/strays/<int:stray_id>/settle", finals.settle_stray, name="studio-stray-settle"),
    path("finals/strays/<int:stray_id>/drop", finals.drop_stray, name="studio-stray-drop"),
    path("finals/<int:final_id>/brief", finals.write_brief, name="studio-brief"),
    path("finals/<int:final_id>/as-it-is", finals.as_it_is, name="studio-as-it-is"),
    path("finals/notes/<int:note_id>", finals.note_done, name="studio-note-done"),
    path("finals/versions/<int:version_id>.jpg", finals.version_picture, name="studio-version-picture"),
    path("finals/versions/<int:version_id>/made", finals.version_made, name="studio-version-made"),
    path("finals/versions/<int:version_id>/file", finals.version_file, name="studio-version-file"),
    path("finals/<int:final_id>/crops", crops.crops, name="studio-crops"),
    path("finals/<int:final_id>/source.jpg", crops.source_picture, name="studio-crop-source"),
    path("finals/<int:final_id>/crops/<slug:size>", crops.set_crop, name="studio-crop-set"),
    path("finals/<int:final_id>/crops/<slug:size>.jpg", crops.preview, name="studio-crop-preview"),
    path("finals/<int:final_id>/crops/<slug:size>/paper.jpg", crops.paper, name="studio-crop-paper"),
    path("crops/sheet.jpg", crops.preview_sheet, name="studio-crop-sheet"),
    path("delivery", delivery.delivery_page, name="studio-delivery"),
    path("delivery/licence", delivery.licence_page, name="studio-licence"),
    path("delivery/profile", delivery.lab_profile_of, name="studio-lab-profile"),
    path("delivery/prepare", delivery.prepare, name="studio-prepare"),
    path("delivery/<int:delivery_id>/progress", delivery.progress, name="studio-delivery-progress"),
    path("delivery/<int:delivery_id>/change", delivery.change, name="studio-delivery-change"),
    path("delivery/<int:delivery_id>/archive", delivery.archive, name="studio-archive"),
    path("delivery/<int:delivery_id>/paper/<str:name>", delivery_papers.studio_paper, name="studio-delivery-paper"),
    path("delivery/files/<int:file_id>", delivery.delivered_file, name="studio-delivered-file"),
    path("usage", usage.usage_page, name="studio-usage"),
    path("usage/<int:request_id>", usage.answer, name="studio-usage-answer"),
]

urlpatterns: list[URLPattern | object] = [
    path("", sittings.sittings, name="studio"),
    path("sittings/new", sittings.new_sitting, name="new-sitting"),
    path("sizes", sizes.sizes_page, name="studio-sizes"),
    path("sizes/new", sizes.size_page, name="studio-size-new"),
    path("sizes/<int:size_id>", sizes.size_page, name="studio-size"),
    path("sizes/<int:size_id>/copy", sizes.copy_size, name="studio-size-copy"),
    path("sizes/<int:size_id>/retire", sizes.retire_size, name="studio-size-retire"),
    # A sitting is named after the fixed addresses, so that none of its names can stand for one of theirs.
    path("<slug:slug>/", include([*_overview, *_frames, *_people, *_finals])),
]
