"""The least application that Flask can be: the yardstick for what serving costs."""

from flask import Flask

app = Flask(__name__)


@app.get("/")
def hello() -> str:
    return "hello"
