"""The grower's configuration: file and environment to validated settings."""

from monitor.settings.faults import Fault, SettingsFault
from monitor.settings.load import Settings, load_settings, masked

__all__ = ["Fault", "Settings", "SettingsFault", "load_settings", "masked"]
