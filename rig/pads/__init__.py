"""Serial pads: protocol, ports, readers and their listeners, merging of several ports, recorded traffic, the live view.

Usual way in::

    with PadReader("/dev/ttyUSB0") as pads:     # rig.pads.reader; any pyserial URL, or replay:FILE
        heard = pads.listen()                    # as many listeners as you like, each gets every frame
        frame = pads.wait_newer(None, timeout=5.0)
        frames = heard.drain()                   # list[PadFrame]: counts (4,) in channel order
        pads.status, pads.tally, pads.gaps       # what people must see

Four ports with one pad each: `rig.pads.merge.MergedPads`, same methods. Other people's line formats:
`rig.pads.patterns.PatternLines` as the reader's `parser`. Every frame's counts are raw.
"""
