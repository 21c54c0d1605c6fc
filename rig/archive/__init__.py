"""The log as a folder of open formats that stands by itself: written, described, checked and taken in."""
