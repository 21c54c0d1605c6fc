"""Where floor sheets, markers and plate really lie, learned from a clip in which camera or car is moved."""
