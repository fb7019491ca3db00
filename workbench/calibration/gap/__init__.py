"""Is a pickup's gap within its limits all the way round, and is its target wheel sound?

`table` and `feeler`: readings with blades. `seen` and `wheel_faults`: what the pulses alone
tell. `amplitude`: gap from the height of the pulses. `dropout`: how slow before teeth go
missing.
"""
