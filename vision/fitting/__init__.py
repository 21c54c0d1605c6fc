"""The pose of the car in each picture: one fit of floor, lens, zoom and car, and the noise and lean that it leaves."""
