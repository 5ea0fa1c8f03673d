"""Bringing in: choose a list, match its columns, answer, bring it in, take it back."""

from __future__ import annotations

from collections.abc import Iterator
from typing import cast
from uuid import UUID, uuid4

from django.contrib import messages
from django.http import Http404, HttpResponse, StreamingHttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.html import escape
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.models import SheetDraft, SheetRow
from inventory.refusals import Refused
from inventory.rights import Right
from inventory.sheets.export import csv_bytes, leftovers, xlsx_bytes
from inventory.sheets.outcome import Answers
from inventory.views.doors import PersonRequest, device_of, door
from jobs.actions import bring_in as actions
from jobs.forms.bring_in import BringInForm
from jobs.queries.bring_in import Looked, checking, drafts_of, is_judged, look, sheet_of
from jobs.views.bring_in_page import chosen_columns, chosen_heading, draft_words, page, things_page

MAY = (Right.PLAN, Right.RUN_SHOP)
# So many names stand in a message.
NAMED = 8
# From so many rows on the page says how far the checking is.
LARGE = 4_000


def _draft(request: PersonRequest, draft_id: UUID) -> SheetDraft:
    return get_object_or_404(SheetDraft.objects.defer("content"), pk=draft_id, branch=request.user.branch)


def _looked(request: PersonRequest, draft_id: UUID) -> Looked:
    return look(_draft(request, draft_id), request.user, timezone.now())


def _back(draft_id: UUID, anchor: str = "") -> HttpResponse:
    return redirect(reverse("jobs:bring_in_draft", args=[draft_id]) + anchor)


@door("GET", "POST", right=MAY)
def bring_in(request: PersonRequest) -> HttpResponse:
    """Choose what the list holds and its file; lists brought before stand below."""
    form = BringInForm(request.POST or None, request.FILES or None, initial={"kind": request.GET.get("kind", "sets")})
    refused: Refused | None = None
    if request.method == "POST" and form.is_valid():
        file, kind = form.cleaned_data["file"], form.cleaned_data["kind"]
        key = _uuid(request.POST.get("act_id", ""))
        try:
            draft = actions.start_draft(
                request.user, request.user.branch, kind, file.name, file.read(), now=timezone.now(), draft_id=key
            )
            return _back(draft.pk)
        except Refused as why:
            refused = why
    drafts = [(draft, draft_words(draft)) for draft in drafts_of(request.user.branch)]
    status = 422 if form.errors or refused else 200
    return render(
        request, "jobs/bring_in/choose.html", {"form": form, "refused": refused, "drafts": drafts}, status=status
    )


@door("GET", right=MAY)
def draft(request: PersonRequest, draft_id: UUID) -> HttpResponse:
    """The draft: what can come in, what needs somebody, what is refused."""
    found = _draft(request, draft_id)
    if len(sheet_of(found).rows) > LARGE and not is_judged(found, request.user, timezone.now()):
        return cast(HttpResponse, StreamingHttpResponse(_checking(request, found)))
    looked = look(found, request.user, timezone.now())
    return render(
        request, "jobs/bring_in/draft.html", page(looked, request.GET.get("page", ""), request.GET.get("refused", ""))
    )


def _checking(request: PersonRequest, found: SheetDraft) -> Iterator[str]:
    """The page in parts while the rows are checked: how far, then on to the draft itself."""
    person, language = request.user, translation.get_language() or "en"
    whole = render_to_string("jobs/bring_in/checking.html", {"draft": found}, request)
    before, _mark, after = whole.partition("<!--rows-->")
    yield before
    for done, of in checking(found, person, timezone.now()):
        with translation.override(language):
            words = _("Checking row %(done)s of %(of)s") % {"done": f"{done:,}", "of": f"{of:,}"}
        yield f'<li><p>{escape(words)}</p><progress max="{of}" value="{done}"></progress></li>\n'
    yield after


@door("POST", right=MAY)
def columns(request: PersonRequest, draft_id: UUID) -> HttpResponse:
    """Take the columns for what the lists say."""
    looked = _looked(request, draft_id)
    chosen, sheet = chosen_columns(looked, request.POST.dict()), request.POST.get("sheet", "")[:80]
    try:
        actions.keep_columns(
            looked.draft, chosen, sheet=sheet, heading=chosen_heading(looked, request.POST.get("heading", ""))
        )
    except Refused as refused:
        messages.error(request, refused.sentence)
    return _back(draft_id)


@door("POST", right=MAY)
def answer(request: PersonRequest, draft_id: UUID) -> HttpResponse:
    """Keep the answer to a question, for its row or for all like it."""
    looked = _looked(request, draft_id)
    asked = next((one for one in looked.judgement.questions if one.id == request.POST.get("question")), None)
    key = request.POST.get("answer", "") or request.POST.get("other", "")
    if asked is not None and key in dict(asked.answers):
        same = bool(request.POST.get("same"))
        actions.keep_answer(looked.draft, lambda answers: answers.give(asked, key, for_all_like_it=same))
    return _back(draft_id, "#asks")


@door("POST", right=MAY)
def cell(request: PersonRequest, draft_id: UUID) -> HttpResponse:
    """Type something else into a refused cell, or leave its row out; with "same" so for all refused alike."""
    found = _draft(request, draft_id)
    where, text, out = (request.POST.get(name, "").strip() for name in ("cell", "text", "out"))
    cells, rows = {where[:16]}, {out} if out.isdecimal() and len(out) < 12 else set()
    if request.POST.get("same"):
        alike = look(found, request.user, timezone.now()).judgement.refused_like(where)
        cells |= {one.cell for one in alike}
        rows |= {str(one.row) for one in alike} if rows else set()

    def change(answers: Answers) -> None:
        if out:
            answers.out += sorted(rows.difference(answers.out), key=int)
        elif where and (text or "text" in request.POST):  # an emptied cell is an answer too
            answers.cells |= dict.fromkeys(cells, text[:400])

    actions.keep_answer(found, change)
    return _back(draft_id, "#refused")


@door("POST", right=MAY)
def come_in(request: PersonRequest, draft_id: UUID) -> HttpResponse:
    """Bring in all that can come in; then undo stands beside what came."""
    found, key = _draft(request, draft_id), _uuid(request.POST.get("act_id", ""))
    try:
        came = actions.bring_in(request.user, device_of(request), found, now=timezone.now(), key=key)
    except Refused as refused:
        messages.error(request, refused.sentence)
        return _back(draft_id)
    if came.rows:
        undo = reverse("jobs:bring_in_back", args=[draft_id])
        words = _("%(things)s came in.") % {"things": actions.words_of(came.made) or _("Nothing new")}
        messages.success(request, words, extra_tags=undo)
    elif found.brought_in_at is not None or SheetRow.objects.filter(draft=found).exists():
        messages.info(request, _("All that can come in is in already: nothing was added."))
    else:
        messages.info(request, _("Nothing can come in yet: answer what is asked, and mend what is refused."))
    return _back(draft_id)


@door("POST", right=MAY)
def take_back(request: PersonRequest, draft_id: UUID) -> HttpResponse:
    """Undo what came in of a draft, as far as nothing else was recorded of it."""
    found, key = _draft(request, draft_id), _uuid(request.POST.get("act_id", ""))
    done = actions.take_back(request.user, device_of(request), found, now=timezone.now(), key=key)
    words = _("%(n)s taken back.") % {"n": f"{done.undone:,}"}
    if done.used:
        words += " " + _stay(done)
    messages.success(request, words)
    return _back(draft_id)


def _stay(done: actions.TakenBack) -> str:
    """What was changed or used since and stays, by name."""
    said = ngettext(
        "%(n)s stays, changed or used since: %(names)s.", "%(n)s stay, changed or used since: %(names)s.", done.used
    ) % {"n": f"{done.used:,}", "names": ", ".join(done.names[:NAMED])}
    if done.used > NAMED:
        said += " " + _("And %(n)s more.") % {"n": f"{done.used - NAMED:,}"}
    return said


@door("POST", right=MAY)
def leave(request: PersonRequest, draft_id: UUID) -> HttpResponse:
    """Drop a draft of which nothing came in."""
    try:
        actions.leave_draft(_draft(request, draft_id))
    except Refused as refused:
        messages.error(request, refused.sentence)
        return _back(draft_id)
    return redirect("jobs:bring_in")


@door("GET", right=MAY)
def things(request: PersonRequest, draft_id: UUID) -> HttpResponse:
    """Look at what can come in."""
    return render(
        request, "jobs/bring_in/things.html", things_page(_looked(request, draft_id), request.GET.get("page", ""))
    )


@door("GET", right=MAY)
def waiting(request: PersonRequest, draft_id: UUID, fmt: str) -> HttpResponse:
    """The rows that wait or are refused, as a file, each with why."""
    looked = _looked(request, draft_id)
    headings, rows = leftovers(looked.sheet, looked.judgement)
    if fmt == "csv":
        body, kind = csv_bytes(headings, rows), "text/csv; charset=utf-8"
    elif fmt == "xlsx":
        body = xlsx_bytes(headings, rows, _("waiting rows"))
        kind = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
    else:
        raise Http404
    return HttpResponse(
        body, content_type=kind, headers={"Content-Disposition": f'attachment; filename="waiting.{fmt}"'}
    )


def _uuid(text: str) -> UUID:
    try:
        return UUID(text)
    except ValueError:
        return uuid4()
