"""A population of invented tins, rooms and keepers, written as folders that a forecast can be scored on."""
