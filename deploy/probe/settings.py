# What this probe needs to know. It comes from probe.txt on the board, which `brooder probes add NAME
# --to probe.txt` writes; without that file the board asks for the same lines on its USB console.
# What stands here counts where probe.txt says nothing.

WIFI_NAME = ""
WIFI_PASSWORD = ""

BROKER = ""  # the board that runs the broker, such as 192.168.1.10
PORT = 1883  # 8883 with TLS
TLS = False
CA_FILE = "ca.der"  # the site's authority; openssl x509 -in ca.crt -outform der -out ca.der
USERNAME = None  # one name for each probe, as in the broker's rights
PASSWORD = None

PIN = 4  # where the sensors' data wire is, with 4.7 kOhm to 3.3 V
TOPIC = None  # of the only sensor, or of the first
# Which sensor publishes where, where there are several. The board prints the sensors' names when it
# starts. A sensor that is not listed publishes on TOPIC_PREFIX/its-name.
TOPICS = {
    # "28-000005e2fdc3": "brooder/porch/floor",
}
TOPIC_PREFIX = "brooder/wires"

EVERY_S = 10  # seconds from one reading to the next
DEEP_SLEEP = False  # True on batteries: sleeps between readings, wakes Wi-Fi seldom
SEND_EVERY = 6  # with deep sleep: this many readings go out together

FILE = "probe.txt"
KEYS = {
    "wifi": "WIFI_NAME",
    "wifi_password": "WIFI_PASSWORD",
    "broker": "BROKER",
    "port": "PORT",
    "tls": "TLS",
    "ca_file": "CA_FILE",
    "name": "USERNAME",
    "password": "PASSWORD",
    "topic": "TOPIC",
    "pin": "PIN",
    "every_s": "EVERY_S",
    "deep_sleep": "DEEP_SLEEP",
    "send_every": "SEND_EVERY",
}


def take(line):
    """One line, `key = value`; `topic 28-000005e2fdc3 = ...` is for one sensor of several. Returns
    what is wrong with it, or None."""
    line = line.strip()
    if not line or line.startswith("#"):
        return None
    key, found, value = line.partition("=")
    key, value = key.strip().lower(), value.strip()
    if not found or not value:
        return "'%s' is not key = value" % line
    if value.startswith("("):
        return None  # a place to fill in
    if key.startswith("topic "):
        TOPICS[key[6:].strip()] = value
        return None
    if key not in KEYS:
        return "%s is not known; it must be one of %s" % (key, ", ".join(sorted(KEYS)))
    try:
        globals()[KEYS[key]] = worth(globals()[KEYS[key]], value)
    except ValueError as fault:
        return "%s is %s; it must be %s" % (key, value, fault)
    return None


def worth(before, value):
    """The value in the form of the one before."""
    if isinstance(before, bool):
        if value.lower() not in ("yes", "no"):
            raise ValueError("yes or no")
        return value.lower() == "yes"
    if isinstance(before, int):
        if not value.isdigit() or not 0 < int(value) < 65536:
            raise ValueError("a whole number from 1 to 65535")
        return int(value)
    return value


def read():
    """Takes probe.txt, and says what is wrong with it."""
    try:
        with open(FILE) as file:
            for line in file:
                fault = take(line)
                if fault:
                    print(FILE + ":", fault)
    except OSError:
        pass  # there is none yet


def missing():
    """What it cannot begin without."""
    return [key for key in ("wifi", "broker") if not globals()[KEYS[key]]]


def ask():
    """On the USB console, until nothing is missing; then keeps it in probe.txt."""
    print("This probe is not set up. Paste the lines that `brooder probes add` shows, then write")
    print("wifi = NAME and wifi_password = PASSWORD. An empty line ends it.")
    while True:
        line = input("> ").strip()
        fault = take(line)
        if fault:
            print(fault)
        elif not line and not missing():
            break
        elif not line:
            print("Still missing:", ", ".join(missing()))
    with open(FILE, "w") as file:
        for key in KEYS:
            value = globals()[KEYS[key]]
            if isinstance(value, bool):
                value = "yes" if value else "no"
            if value not in (None, ""):
                file.write("%s = %s\n" % (key, value))
        for sensor in TOPICS:
            file.write("topic %s = %s\n" % (sensor, TOPICS[sensor]))
    print("Kept in", FILE + ". To begin anew: Ctrl-C, then import settings; settings.ask()")


read()
