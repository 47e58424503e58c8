"""Readings of a sample, the sheet they speak for, and what would be read of it; the service runs in this process."""

from sheetmargin import BenchReading, Client, FitQuestion, InstalledSetup, PredictionQuestion, Sheet

PLACE = {"detector_class": "ultrasonic-400k", "gap_mm": 26}
LEVELS = {"single": [45.1, 45.4, 44.8], "double": [66.2, 68.9, 64.5, 70.1]}

client = Client.in_process()
readings = [
    BenchReading(state=state, attenuation_db=level, **PLACE) for state, levels in LEVELS.items() for level in levels
]
fit = client.fit(FitQuestion(sheet=Sheet(material="copy-paper", grammage_gsm=80), readings=readings))
print(*(f"{one.name}: {one.fitted.low:.3g} to {one.fitted.high:.3g}" for one in fit.fit.estimates), sep="\n")
print(*fit.changed, sep="\n")

found = client.predict(PredictionQuestion(sheet=fit.sheet, setup=InstalledSetup(**PLACE)))
print(f"{found.predicted.verdict}: two sheets read {found.predicted.sheets[0].signal.double.p50} dB")
