STA_IF = 0


class WLAN:
    def __init__(self, kind):
        pass

    def active(self, on):
        pass

    def isconnected(self):
        return True
