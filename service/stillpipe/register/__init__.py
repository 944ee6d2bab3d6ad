"""A register of pipes, of any length, estimated on Dask: Parquet, CSV or XLSX in, Parquet out.

A run that was stopped goes on where it was. ``source`` reads what is no Parquet, ``plan`` cuts the
register into parts, ``part`` estimates one, ``run`` has Dask do them all, and ``__main__`` is the
command. Needs the extra ``dask``.
"""
