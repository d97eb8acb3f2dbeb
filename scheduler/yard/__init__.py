"""What stands in the yard: site, panels, bank, outlets, machines, needs and visits."""
