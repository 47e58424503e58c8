"""Transport: schemas, views, problems, the published description."""
