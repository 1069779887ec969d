class DS18X20:
    def __init__(self, wire):
        pass

    def scan(self):
        return [bytearray(b"\x28\xc3\xfd\xe2\x05\x00\x00\x00")]

    def convert_temp(self):
        pass

    def read_scratch(self, rom):
        return bytearray(b"\x72\x01\x4b\x46\x7f\xff\x0e\x10\x57")
