import sys
from urllib.error import HTTPError
from urllib.request import Request, urlopen

import description


def ask(**sheet: object) -> bytes:
    """With every field of the model, those that were not given as null."""
    job = description.JobInput(sheets=[description.SheetInput(**sheet)], limit=1)
    headers = {"Content-Type": "application/json"}
    request = Request(f"{sys.argv[1]}/v1/recommendations", data=job.model_dump_json().encode(), headers=headers)
    try:
        return urlopen(request).read()
    except HTTPError as error:
        return error.read()


answer = description.Answer.model_validate_json(ask(material="copy-paper", grammage_gsm=80))
wrong = description.Problem.model_validate_json(ask(material="coppy-paper", grammage_gsm=80))
code = getattr(wrong.errors[0].code, "root", wrong.errors[0].code)
head = answer.recommendations[0].setups[0].head
print(answer.verdict.value, getattr(head.type, "value", head.type), code)
