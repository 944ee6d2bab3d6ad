"""The compiled solver: a two-dimensional enthalpy column with an implicit pipe wall.

Half a freeze point is cut into rings and slices (``mesh``), z = 0 being the jacket's centre; both
ends carry no heat. ``layout`` lays a case on a grid, ``step`` takes one implicit step and ``march``
steps to an event or a time.
"""
