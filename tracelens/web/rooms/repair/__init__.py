"""A repair tried on paper: the predicted run under the recorded one."""
