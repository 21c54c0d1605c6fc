"""The ground floor: markers, poses and other shared types, and errors."""
