"""Before the capture: how to wire, what to set, what can be seen with it, what to show on the screen."""
