"""What keeps the service safe and observable while it runs: limits, logs, traces, metrics, workers."""
