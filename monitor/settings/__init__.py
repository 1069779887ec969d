"""The grower's configuration: file and environment to validated settings."""

from monitor.settings.faults import SettingsFault, WrongSetting
from monitor.settings.load import Settings, load_settings, masked

__all__ = ["Settings", "SettingsFault", "WrongSetting", "load_settings", "masked"]
