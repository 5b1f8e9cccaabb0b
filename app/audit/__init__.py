"""The trail: who did what, when, on which rows, chained so that nothing changes unseen."""
