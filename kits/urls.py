"""Addresses of the kits layer."""

from django.urls import path

from kits.views import booking, case, cases, closing, gathering, patients, picking, scanning, today
from kits.views.stock_urls import stock_page_urls

_TRAY = "cases/<str:case_code>/tray"
_CLOSE = "cases/<str:case_code>/close"
_PLAN = "cases/<str:case_code>/plan"

case_urls = [
    path("", today.today, name="today"),
    path("today/gather/", gathering.gather, name="gather"),
    path("scan/", scanning.scan, name="scan"),
    path("cases/", cases.case_list, name="cases"),
    path("cases/book/", booking.case_book, name="case_book"),
    path("cases/<str:case_code>/", case.case_page_view, name="case"),
    path("cases/<str:case_code>/move/", booking.case_move, name="case_move"),
    path("cases/<str:case_code>/cancel/", booking.case_cancel, name="case_cancel"),
    path(f"{_PLAN}/", case.case_plan, name="case_plan"),
    path(f"{_PLAN}/site/", case.case_site, name="case_site"),
    path(f"{_PLAN}/choose/", case.case_choose, name="case_choose"),
    path(f"{_PLAN}/withdraw/", case.case_withdraw, name="case_withdraw"),
    path(f"{_PLAN}/finding/", case.case_finding, name="case_finding"),
    path(f"{_TRAY}/", picking.pick_list, name="pick_list"),
    path(f"{_TRAY}/scan/", picking.pick_scan, name="pick_scan"),
    path(f"{_TRAY}/tick/", picking.pick_tick, name="pick_tick"),
    path(f"{_TRAY}/ready/", picking.pick_ready, name="pick_ready"),
    path(f"{_TRAY}/by-hand/", picking.pick_by_hand, name="pick_by_hand"),
    path(f"{_TRAY}/start/", picking.pick_start, name="pick_start"),
    path(f"{_TRAY}/finding/", picking.pick_finding, name="pick_finding"),
    path(f"{_TRAY}/open/", picking.pick_open, name="pick_open"),
    path(f"{_CLOSE}/", closing.case_close, name="case_close"),
    path(f"{_CLOSE}/record/", closing.close_record, name="close_record"),
    path(f"{_CLOSE}/undo/", closing.close_undo, name="close_undo"),
    path(f"{_CLOSE}/site/", closing.close_site, name="close_site"),
    path(f"{_CLOSE}/none/", closing.close_none, name="close_none"),
    path(f"{_CLOSE}/rest/", closing.close_rest, name="close_rest"),
    path(f"{_CLOSE}/room/", closing.close_room, name="close_room"),
    path(f"{_CLOSE}/scan/", closing.close_scan, name="close_scan"),
    path(f"{_CLOSE}/done/", closing.close_done, name="close_done"),
    path("patients/", patients.patient_list, name="patients"),
    path("patients/<str:chart_number>/", patients.patient, name="patient"),
    path("patients/<str:chart_number>/consent/", patients.patient_consent, name="patient_consent"),
    path("patients/<str:chart_number>/record/", patients.patient_record, name="patient_record"),
    path("patients/<str:chart_number>/card/", patients.patient_card, name="patient_card"),
]
urlpatterns = case_urls + stock_page_urls
