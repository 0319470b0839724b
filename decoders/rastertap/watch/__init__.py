"""A bench session: a folder into which the analyser saves, each capture checked as it lands."""
