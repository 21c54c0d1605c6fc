"""The other fiducial detector (pupil-apriltags), one for the whole process.

Taking one apart while others live has been seen to spoil the process's memory, so it is made once and kept.
"""

import pupil_apriltags

DETECTOR = pupil_apriltags.Detector(families="tag36h11", quad_decimate=1.0)
