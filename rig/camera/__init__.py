"""The live camera: opened with what was asked, told and measured; recorded with a pre-roll when the car moves."""
