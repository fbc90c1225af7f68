"""From a farm's brief to a full plant: the topology here, every size from the sizing study."""
