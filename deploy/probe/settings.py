# What this probe needs to know. Copy to the board beside main.py.

WIFI_NAME = "name of the network"
WIFI_PASSWORD = "its password"

BROKER = "192.168.1.10"  # the board that runs the broker
PORT = 1883  # 8883 with TLS
TLS = False
CA_FILE = "ca.der"  # the site's authority; openssl x509 -in ca.crt -outform der -out ca.der
USERNAME = None  # one name for each probe, as in the broker's rights
PASSWORD = None

PIN = 4  # where the sensors' data wire is, with 4.7 kOhm to 3.3 V
# Which sensor publishes where. The board prints the sensors' names when it starts. A sensor that
# is not listed publishes on TOPIC_PREFIX/its-name.
TOPICS = {
    # "28-000005e2fdc3": "brooder/porch/floor",
}
TOPIC_PREFIX = "brooder/wires"

EVERY_S = 10  # seconds from one reading to the next
DEEP_SLEEP = False  # True on batteries: sleeps between readings, wakes Wi-Fi seldom
SEND_EVERY = 6  # with deep sleep: this many readings go out together
