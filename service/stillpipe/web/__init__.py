"""HTTP in and out: the only place that knows flask, marshmallow and pint."""
