import sys

from sheetmargin_client import Client
from sheetmargin_client.api.batch import recommend_for_jobs
from sheetmargin_client.api.recommendations import recommend_for_job, recommend_for_sheet
from sheetmargin_client.models import JobInput, SheetInput

client = Client(base_url=sys.argv[1])
job = JobInput(sheets=[SheetInput(material="copy-paper", grammage_gsm=80)], limit=1)
answer = recommend_for_job.sync(client=client, body=job)
wrong = recommend_for_sheet.sync(client=client, material="coppy-paper", grammage_gsm=80)
(item,) = recommend_for_jobs.sync(client=client, body=[job])
assert item.result.verdict == answer.verdict
print(answer.verdict.value, answer.recommendations[0].setups[0].head.type_.value, wrong.errors[0].code)
