"""A register of pipes, of any length, estimated on Dask: Parquet in, Parquet out, restartable.

``plan`` cuts the register into parts, ``part`` estimates one, ``run`` has Dask do them all, and
``__main__`` is the command. Needs the extra ``dask``.
"""
