"""Every address of the program, in one list."""

from django.urls import path, re_path, register_converter

from nursery.converters import CodeConverter
from nursery.views import (
    accounts,
    asking,
    changes,
    checks,
    copies,
    disagreements,
    find,
    flat_list,
    home,
    jobs,
    labels,
    login,
    moves,
    mending,
    numbers,
    papers,
    put_right,
    places,
    records,
    sampling,
    scanning,
    sowings,
    takes,
    tallies,
)
from nursery.views.api import api_marks
from nursery.views.bench import blades as bench_blades
from nursery.views.bench import flats as bench_flats
from nursery.views.bench import offer as bench_offer
from nursery.views.bench import put_on as bench_put_on
from nursery.views.bench import runs as bench_runs
from nursery.views.bench import sessions as bench_sessions

register_converter(CodeConverter, "code")

urlpatterns: list = [
    # Start, logins, codes
    path("", home.home, name="home"),
    path("login", login.login, name="login"),
    path("logout", login.logout, name="logout"),
    path("first-account", login.first_account, name="first-account"),
    path("who", login.who, name="who"),
    path("accounts", accounts.account_list, name="account-list"),
    path("accounts/new", accounts.account_new, name="account-new"),
    path("accounts/by-name/<str:username>", accounts.account_edit, name="account-edit"),
    path("accounts/by-name/<str:username>/password", accounts.account_password, name="account-password"),
    path("find", find.code_find, name="code-find"),
    path("flats", flat_list.flat_list, name="flat-list"),
    path("<code:code>", find.code, name="code"),
    re_path(rf"^(?P<text>{CodeConverter.regex})$", find.code_slip, name="code-slip"),
    # Marks
    path("api/marks", api_marks, name="api-marks"),
    # Labels
    path("labels", labels.label_queue, name="label-queue"),
    path("labels/print", labels.label_print, name="label-print"),
    path("labels/roll", labels.label_roll, name="label-roll"),
    path("labels/sowings", labels.label_sowings, name="label-sowings"),
    path("labels/places", labels.label_places, name="label-places"),
    path("labels/scripts", labels.label_scripts, name="label-scripts"),
    path("labels/papers", papers.label_papers, name="label-papers"),
    path("labels/papers/new", papers.label_paper_new, name="label-paper-new"),
    path("labels/papers/test/<path:stock>", papers.label_paper_test, name="label-paper-test"),
    path("labels/papers/<uuid:key>", papers.label_paper, name="label-paper"),
    path("labels/papers/<uuid:key>/delete", papers.label_paper_delete, name="label-paper-delete"),
    path("<code:code>/label", labels.code_label, name="code-label"),
    # Bench
    path("bench", bench_sessions.bench, name="bench"),
    path("bench/start", bench_sessions.bench_start, name="bench-start"),
    path("bench/<uuid:key>", bench_sessions.bench_session, name="bench-session"),
    path("bench/<uuid:key>/pause", bench_sessions.bench_pause, name="bench-pause"),
    path("bench/<uuid:key>/resume", bench_sessions.bench_resume, name="bench-resume"),
    path("bench/<uuid:key>/end", bench_sessions.bench_end, name="bench-end"),
    path("bench/<uuid:key>/reopen", bench_sessions.bench_reopen, name="bench-reopen"),
    path("bench/<uuid:key>/put-on", bench_put_on.bench_put_on, name="bench-put-on"),
    path("bench/<uuid:key>/next", bench_put_on.bench_next, name="bench-next"),
    path("bench/<uuid:key>/blade", bench_blades.bench_blade, name="bench-blade"),
    path("bench/<uuid:key>/blade/<uuid:event>/undo", bench_blades.bench_blade_undo, name="bench-blade-undo"),
    path("<code:code>/bench", bench_flats.flat_bench, name="flat-bench"),
    path("<code:code>/bench/hand-over", bench_flats.flat_hand_over, name="flat-hand-over"),
    path("<code:code>/bench/hand-over/undo", bench_flats.flat_hand_over_undo, name="flat-hand-over-undo"),
    path("<code:code>/bench/blanks", bench_flats.flat_blanks, name="flat-blanks"),
    path("<code:code>/bench/finish", bench_flats.flat_finish, name="flat-finish"),
    path("<code:code>/bench/finish/undo", bench_flats.flat_finish_undo, name="flat-finish-undo"),
    path("<code:code>/bench/take-off", bench_flats.flat_take_off, name="flat-take-off"),
    path("<code:code>/bench/run/<int:number>", bench_runs.flat_run, name="flat-run"),
    path("<code:code>/offer", bench_offer.sowing_offer, name="sowing-offer"),
    # Flats and their checks (the flat's own page is "code")
    path("<code:code>/check", checks.flat_check, name="flat-check"),
    path("<code:code>/numbers", numbers.flat_numbers, name="flat-numbers"),
    path("<code:code>/check/<uuid:key>", checks.check_detail, name="check-detail"),
    path("<code:code>/check/<uuid:key>/reopen", checks.flat_reopen, name="flat-reopen"),
    path("<code:code>/check/<uuid:key>/ask", asking.flat_ask, name="flat-ask"),
    path("<code:code>/check/<uuid:key>/leave-closed", asking.flat_leave_closed, name="flat-leave-closed"),
    path("sample/<uuid:key>/<uuid:pairing>", sampling.batch_sample, name="batch-sample"),
    # Mending
    path("put-right", put_right.put_right, name="put-right"),
    path("put-right/runs", put_right.put_right_runs, name="put-right-runs"),
    path("changes", changes.change_list, name="change-list"),
    path("changes/<uuid:key>", changes.change_detail, name="change-detail"),
    path("changes/<uuid:key>/put-back", changes.change_put_back, name="change-put-back"),
    path("disagreements", disagreements.disagreement_list, name="disagreement-list"),
    path("<code:code>/settle/<str:cell>", disagreements.cell_settle, name="cell-settle"),
    path("<code:code>/check/<uuid:key>/give", mending.check_give, name="check-give"),
    path("<code:code>/check/<uuid:key>/void", mending.check_void, name="check-void"),
    path("<code:code>/check/<uuid:key>/unvoid", mending.check_unvoid, name="check-unvoid"),
    # Where things are
    path("move", moves.move, name="move"),
    path("move/<uuid:act>/undo", moves.move_undo, name="move-undo"),
    path("move/scan", scanning.move_scan, name="move-scan"),
    path("move/scan/drop", scanning.move_scan_drop, name="move-scan-drop"),
    path("places", places.places, name="places"),
    # Records
    path("records", records.records, name="records"),
    path("records/farm", records.record_farm, name="record-farm"),
    path("records/<slug:noun>", records.record_list, name="record-list"),
    path("records/<slug:noun>/new", records.record_new, name="record-new"),
    path("records/<slug:noun>/<str:key>", records.record_edit, name="record-edit"),
    path("records/<slug:noun>/<str:key>/delete", records.record_delete, name="record-delete"),
    path("<code:code>/stand", sowings.sowing_stand, name="sowing-stand"),
    # Copies of the book
    path("copies", copies.copies, name="copies"),
    path("copies/make", copies.copies_make, name="copies-make"),
    path("copies/<str:name>", copies.copies_download, name="copies-download"),
    # Takes and past seasons
    path("takes", takes.takes, name="takes"),
    path("takes/how", takes.takes_how, name="takes-how"),
    path("tallies", tallies.tally_import, name="tally-import"),
    path("tallies/preview", tallies.tally_preview, name="tally-preview"),
    path("tallies/store", tallies.tally_store, name="tally-store"),
    path("tallies/look/<uuid:key>", tallies.tally_look, name="tally-look"),
    path("tallies/look/<uuid:key>/store", tallies.tally_look_store, name="tally-look-store"),
    # Long work, and everything to take along
    path("jobs", jobs.job_list, name="job-list"),
    path("jobs/<uuid:key>", jobs.job_detail, name="job-detail"),
    path("jobs/<uuid:key>/cancel", jobs.job_cancel, name="job-cancel"),
    path("jobs/<uuid:key>/again", jobs.job_again, name="job-again"),
    path("jobs/<uuid:key>/file", jobs.job_file, name="job-file"),
    path("export", jobs.book_export, name="book-export"),
    path("export/ask", jobs.book_export_ask, name="book-export-ask"),
]
