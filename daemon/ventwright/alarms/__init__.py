"""The alarms: conditions, states and transitions of ANSI/ISA-18.2 and IEC 62682."""
