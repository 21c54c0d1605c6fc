"""The ground floor: errors, failures shown to people, files, disk room, plain JSON, version."""
