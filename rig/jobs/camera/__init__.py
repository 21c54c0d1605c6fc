"""Use cases of the seeing side: a camera calibrated, floor sheets, plate and markers found where they lie."""
