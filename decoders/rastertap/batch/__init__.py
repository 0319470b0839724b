"""Many captures: checked in parallel, one row each, resumed after a kill, rolled up."""
