"""The making and use of electrodes: which does what in a run, in which order, under which labels."""
