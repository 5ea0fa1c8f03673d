"""Addresses of `jobs`."""

from django.urls import URLPattern, URLResolver, path

from jobs.views import (
    bid,
    bring_in,
    choice,
    costs,
    feed,
    job,
    my_job,
    paper,
    plan,
    reorder,
    sets_for_jobs,
    shop_day,
    site,
    van_sheet,
    work,
)

app_name = "jobs"
urlpatterns: list[URLPattern | URLResolver] = [
    # Shop day: morning and tonight
    path("day/", shop_day.shop_day, name="shop_day"),
    path("day/answer/<slug:kind>/", shop_day.answer, name="answer"),
    path("day/<uuid:pk>/<uuid:step>/instead/", choice.take_instead, name="take_instead"),
    path("day/scan/", shop_day.scan_tonight, name="scan_tonight"),
    path("<uuid:pk>/shifts/<uuid:key>/<uuid:step>/sets/", choice.choose_set, name="choose_set"),
    path("<uuid:pk>/shifts/<uuid:key>/<uuid:step>/soaked/", choice.reserve_soaked, name="reserve_soaked"),
    # My job: a shift as it runs
    path("mine/", my_job.my_job, name="my_job"),
    path("<uuid:pk>/shifts/<uuid:key>/", my_job.shift, name="shift"),
    path("<uuid:pk>/shifts/<uuid:key>/leave/", my_job.shift_leave, name="shift_leave"),
    path("<uuid:pk>/shifts/<uuid:key>/close/", my_job.shift_close, name="shift_close"),
    path("<uuid:pk>/shifts/<uuid:key>/<uuid:step>/log/", my_job.shift_log, name="shift_log"),
    path("<uuid:pk>/shifts/<uuid:key>/<uuid:step>/even/", my_job.shift_even, name="shift_even"),
    path("<uuid:pk>/shifts/<uuid:key>/<uuid:step>/trouble/", my_job.shift_trouble, name="shift_trouble"),
    # the van sheet of a shift
    path("<uuid:pk>/shifts/<uuid:key>/van-sheet.pdf", van_sheet.sheet_pdf, name="sheet_pdf"),
    path("<uuid:pk>/shifts/<uuid:key>/van-sheet/", paper.sheet_in, name="sheet_in"),
    path("<uuid:pk>/van-sheet/<uuid:act>/undo/", paper.sheet_undo, name="sheet_undo"),
    # which set for which step of the weeks ahead
    path("sets/", sets_for_jobs.sets_for_jobs, name="sets_for_jobs"),
    path("sets/keep/", sets_for_jobs.sets_keep, name="sets_keep"),
    path("sets/undo/", sets_for_jobs.sets_undo, name="sets_undo"),
    path("sets/<uuid:key>/", sets_for_jobs.sets_of_step, name="sets_of_step"),
    path("sets/<uuid:key>/take/", sets_for_jobs.sets_take, name="sets_take"),
    path("sets/<uuid:key>/free/", sets_for_jobs.sets_free, name="sets_free"),
    # the private calendar
    path("calendar/", feed.my_calendar, name="my_calendar"),
    path("calendar/revoke/", feed.calendar_revoke, name="calendar_revoke"),
    path("calendar/<slug:word>.ics", feed.feed, name="feed"),
    # bringing in
    path("bring-in/", bring_in.bring_in, name="bring_in"),
    path("bring-in/<uuid:draft_id>/", bring_in.draft, name="bring_in_draft"),
    path("bring-in/<uuid:draft_id>/columns/", bring_in.columns, name="bring_in_columns"),
    path("bring-in/<uuid:draft_id>/answer/", bring_in.answer, name="bring_in_answer"),
    path("bring-in/<uuid:draft_id>/cell/", bring_in.cell, name="bring_in_cell"),
    path("bring-in/<uuid:draft_id>/in/", bring_in.come_in, name="bring_in_in"),
    path("bring-in/<uuid:draft_id>/back/", bring_in.take_back, name="bring_in_back"),
    path("bring-in/<uuid:draft_id>/leave/", bring_in.leave, name="bring_in_leave"),
    path("bring-in/<uuid:draft_id>/things/", bring_in.things, name="bring_in_things"),
    path("bring-in/<uuid:draft_id>/waiting.<slug:fmt>", bring_in.waiting, name="bring_in_waiting"),
    # reorder: what to buy by when
    path("reorder/", reorder.reorder, name="reorder"),
    path("reorder/again/", reorder.reorder_again, name="reorder_again"),
    path("reorder/reorder.csv", reorder.reorder_csv, name="reorder_csv"),
    path("reorder/reorder.xlsx", reorder.reorder_xlsx, name="reorder_xlsx"),
    # sites and floors
    path("sites/", site.sites, name="sites"),
    path("sites/new/", site.site_form, name="site_new"),
    path("sites/<int:pk>/", site.site, name="site"),
    path("sites/<int:pk>/change/", site.site_form, name="site_change"),
    path("sites/<int:pk>/floors/new/", site.zone_form, name="zone_new"),
    path("sites/<int:pk>/floors/<uuid:zone_id>/", site.zone_form, name="zone_change"),
    path("sites/<int:pk>/jobs/new/", plan.job_new, name="job_new"),
    # jobs, plans, work
    path("", job.jobs, name="jobs"),
    path("bid/", bid.bid, name="bid"),
    path("costs/", costs.costs, name="costs"),
    path("new/", plan.job_choose, name="job_choose"),
    path("<uuid:pk>/", job.job, name="job"),
    path("<uuid:pk>/plan/", plan.plan, name="plan"),
    path("<uuid:pk>/mark/", job.job_mark, name="job_mark"),
    path("<uuid:pk>/shifts/<uuid:shift>/outing/", job.job_outing, name="job_outing"),
    path("<uuid:pk>/work/", work.work, name="work"),
    path("<uuid:pk>/work/<uuid:entry>/", work.work_correct, name="work_correct"),
    path("<uuid:pk>/work/<uuid:entry>/void/", work.work_void, name="work_void"),
    path("acts/<uuid:act>/undo/", job.undo, name="undo"),
]
