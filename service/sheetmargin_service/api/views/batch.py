"""Up to a thousand jobs in one call."""

from __future__ import annotations

from flask import Response, current_app, g, request
from sheetmargin.contract.job import Job
from sheetmargin.contract.problem import BatchItem
from sheetmargin.contract.summary import summary_of

from sheetmargin_service.api.accept_language import wanted_language
from sheetmargin_service.api.batch import (
    MEDIA_TYPES,
    MOST_JOBS,
    NDJSON,
    Batch,
    Progress,
    as_array,
    as_ndjson,
    entries_of,
)
from sheetmargin_service.api.client_disconnect import departure
from sheetmargin_service.api.decode import JSON, read_body
from sheetmargin_service.api.encode import encode
from sheetmargin_service.api.routes import Call, Routes
from sheetmargin_service.api.schemas.derive import answer_schema, question_schema
from sheetmargin_service.api.schemas.field_names import Wanted, picked
from sheetmargin_service.api.schemas.query import BatchQuery
from sheetmargin_service.api.service import current_service
from sheetmargin_service.selection.time_limit import check_time

MAX_BODY = 2 << 20

routes = Routes("batch", "Recommendations for many jobs at once.")

JOBS = {"type": "array", "maxItems": MOST_JOBS, "items": question_schema(Job)}
JOB_LINES = {"type": "string", "description": f"One job in each line, at most {MOST_JOBS}."}
ITEMS = {"type": "array", "maxItems": MOST_JOBS, "items": answer_schema(BatchItem)}
ITEM_LINES = {
    "type": "string",
    "description": 'An item a line as in the array, then `{"end": {"count": 2, "problems": 0}}`; without '
    "that line the answer is not whole.",
}


@routes.post_many(
    "/v1/recommendations/batch",
    Call(scope="batch", media_type=JSON, also=(NDJSON,), max_body=MAX_BODY, can_fail=("unavailable",)),
    query=BatchQuery,
    bodies={JSON: JOBS, NDJSON: JOB_LINES},
    answers={JSON: ITEMS, NDJSON: ITEM_LINES},
)
def recommend_for_jobs(asked: tuple[int, bool, Wanted]) -> Response:
    """Rank the detector classes for each of many jobs.

    The answer has one item for each job, in order: its result, or the problem that it alone has. Items are sent as they
    are computed, equal jobs are computed once. The answer comes as the jobs do, unless `Accept` prefers the other form.
    With `fields` each result has those alone, with `view=summary` it is a summary.
    """
    start_index, brief, wanted = asked
    body = read_body(request, MEDIA_TYPES)
    # Whether this caller may have one more under way is told before the answer begins. Not before the body is here: who
    # sends slowly would hold the turn to compute meanwhile.
    check_time()
    entries = entries_of(body, request.mimetype)
    language = wanted_language()
    batch = Batch(
        service=current_service(),
        dump=lambda answer: picked(encode(summary_of(answer) if brief else answer, language=language), wanted),
        is_gone=departure(request.environ),
        request_id=g.get("request_id"),
        language=language,
        job_limit_s=current_app.config["TIME_LIMIT_S"],
        limit_s=current_app.config["BATCH_TIME_LIMIT_S"],
    )
    g.progress = Progress(jobs=len(entries[start_index:]))
    lines = batch.answer(entries, g.progress, start_index=start_index)
    # Of two that the caller likes equally, the first of the list is taken: the form of the request.
    own, other = request.mimetype, next(kind for kind in MEDIA_TYPES if kind != request.mimetype)
    media_type = request.accept_mimetypes.best_match((own, other), default=own)
    response = Response(as_ndjson(lines) if media_type == NDJSON else as_array(lines), content_type=media_type)
    response.headers["Content-Language"] = language
    response.headers["Cache-Control"] = "no-store"
    # nginx would gather the answer and notice late that nobody waits for it any more.
    response.headers["X-Accel-Buffering"] = "no"
    return response
