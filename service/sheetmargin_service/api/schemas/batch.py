"""Lines of a batch's answer, for the published description; batch.py writes them."""

from __future__ import annotations

from marshmallow import fields

from sheetmargin_service.api.schemas.answer import AnswerSchema
from sheetmargin_service.api.schemas.output import OutputSchema, string, whole
from sheetmargin_service.api.schemas.problem import ProblemSchema


class BatchItemSchema(OutputSchema):
    """One job's `result`, or its `problem`."""

    index = whole("Position of the job in the batch, from 0.")
    reference = string("The job's reference.", nullable=True)
    result = fields.Nested(AnswerSchema, metadata={"description": "The answer, as to the job alone."})
    problem = fields.Nested(ProblemSchema, metadata={"description": "Why there is no answer."})
