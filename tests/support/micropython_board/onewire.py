def OneWire(pin):
    return pin
