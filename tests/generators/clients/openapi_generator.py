import sys

import openapi_client as made

client = made.ApiClient(made.Configuration(host=sys.argv[1]))
job = made.JobInput(sheets=[made.SheetInput(material="copy-paper", grammage_gsm=80)], limit=1)
calls = made.RecommendationsApi(client)
answer = calls.recommend_for_job(job)
try:
    calls.recommend_for_sheet(material="coppy-paper", grammage_gsm=80)
    raise SystemExit("a wrong question was answered")
except made.ApiException as error:
    code = error.data.errors[0].code
page = made.SetupSheetsApi(client).make_setup_sheet(made.SetupSheetQuestionInput(sheets=job.sheets))
assert page.startswith("<!doctype html>")
print(answer.verdict, answer.recommendations[0].setups[0].head.actual_instance.type, code)
