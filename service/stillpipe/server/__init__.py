"""HTTP and what runs it: the only place that knows flask and gunicorn."""
