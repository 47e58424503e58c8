"""A job with two sheets on one line; the service runs in this process."""

from sheetmargin import Client, Environment, InvalidJob, Job, Line, Sheet

job = Job(
    sheets=[
        Sheet(label="cover", material="coated-board", grammage_gsm=250),
        Sheet(label="inside", material="copy-paper", grammage_gsm=80),
    ],
    line=Line(clearance_above_mm=100, clearance_below_mm=100, flutter_mm=1),
    environment=Environment(temperature_min_c=15, temperature_max_c=35),
    limit=1,
)

with Client.in_process() as client:  # or Client("http://127.0.0.1:8080", token="...")
    try:
        answer = client.recommend(job)
    except InvalidJob as error:
        raise SystemExit(str(error)) from error

print(answer)
if answer.best:
    for setup in answer.best.setups:
        print(f"\nset {setup.detector_class.id} to a gap of {setup.geometry.gap_mm.nominal} mm")
