"""Constants of nature and of air used across this room."""

GRAVITY_M_S2 = 9.80665
AIR_GAMMA = 1.4
AIR_GAS_CONSTANT_J_KGK = 287.05
STANDARD_AMBIENT_KPA_ABS = 101.325
KELVIN_AT_0_C = 273.15
STEEL_CP_KJ_KGK = 0.5
