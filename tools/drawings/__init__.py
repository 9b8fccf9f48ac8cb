"""What the pages of `hardware_notes/` show: tables computed from the firmware's and the car's own data, and the schematic."""
