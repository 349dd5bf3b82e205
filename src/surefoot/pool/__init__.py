"""What units of a kind teach each other: evidence of many units in one open file, and the prior that it lends.

A pool holds what the search saw of each unit and knob: depth, minutes, how it ended, load, conditions. It holds no
names, no serial numbers and no setting to copy: it lends a prior, never a setting. Engine: DuckDB; Dask at the edge.
"""
