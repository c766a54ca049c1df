"""The words for kinds and places that several answers use."""

SUPPLIES = {"ac": "mains", "dc12": "12 V", "usb": "USB"}
