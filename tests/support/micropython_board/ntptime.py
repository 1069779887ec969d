def settime():
    raise OSError("no time server")
