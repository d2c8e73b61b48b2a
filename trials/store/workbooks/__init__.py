"""The workbooks of a trial: one for the machine, one for the bench."""
