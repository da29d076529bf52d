"""Addresses of the practice layer. The kinds of file are handed in, for they come from the layers above."""

from django.urls import path

from practice.views import audit, imports, people, set_up, sign_in, start

sign_in_urls = [
    path("start/", start.start, name="start"),
    path("sign-in/", sign_in.sign_in, name="sign_in"),
    path("sign-out/", sign_in.sign_out, name="sign_out"),
    path("clinic/", sign_in.choose_clinic, name="choose_clinic"),
    path("password/", sign_in.change_password, name="change_password"),
]
set_up_urls = [
    path("set-up/clinic/", set_up.clinic_settings, name="clinic_settings"),
    path("set-up/clinic/rooms/", set_up.room_add, name="room_add"),
    path("set-up/clinic/closures/", set_up.closure_add, name="closure_add"),
    path("set-up/clinic/closures/<int:closure_id>/open/", set_up.closure_take_back, name="closure_take_back"),
    path("set-up/clinics/add/", start.clinic_open, name="clinic_open"),
    path("set-up/policy/", set_up.policy, name="policy"),
    path("set-up/people/", people.people_list, name="people"),
    path("set-up/people/add/", people.person_add, name="person_add"),
    path("set-up/people/<int:user_id>/", people.person, name="person"),
    path("set-up/people/<int:user_id>/role/", people.person_role, name="person_role"),
    path("set-up/people/<int:user_id>/sign-in/", people.person_sign_in, name="person_sign_in"),
    path("set-up/people/<int:user_id>/unlock/", people.person_unlock, name="person_unlock"),
    path("set-up/people/<int:user_id>/password/", people.person_password, name="person_password"),
    path("set-up/audit/", audit.audit_list, name="audit"),
]


def import_urls(kinds) -> list:
    """Addresses of the pages that show these kinds of file."""
    given = {"kinds": kinds}
    return [
        path("set-up/", set_up.set_up, given, name="set_up"),
        path("imports/", imports.imports, given, name="imports"),
        path("imports/<slug:kind>/", imports.import_upload, given, name="import_upload"),
        path("imports/file/<int:upload_id>/", imports.import_preview, given, name="import_preview"),
        path(
            "imports/file/<int:upload_id>/meanings/", imports.import_meanings, given, name="import_meanings"
        ),
        path("imports/file/<int:upload_id>/apply/", imports.import_apply, given, name="import_apply"),
        path("imports/file/<int:upload_id>/aside/", imports.import_put_aside, given, name="import_put_aside"),
        path("imports/meanings/<int:meaning_id>/forget/", imports.meaning_forget, name="meaning_forget"),
    ]


def urls(*, kinds) -> list:
    """All addresses of the layer."""
    return [*sign_in_urls, *set_up_urls, *import_urls(kinds)]
