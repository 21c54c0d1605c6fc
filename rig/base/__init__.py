"""The ground floor: errors, failures shown to people, progress, files, disk room, plain JSON, version."""
