"""What studies ask a plant for: roles with typed faces, never kinds. See `base`."""

from byrewright.plant.roles.base import Role, roles_of, usual_kind, usually
from byrewright.plant.roles.cooling import (
    BuffersCold,
    Cold,
    CoolsMilk,
    MakesCold,
    Stage,
    StoresMilk,
    TakesExpansion,
)
from byrewright.plant.roles.deck import (
    BringsCows,
    CarriesDeck,
    DriesCloths,
    GivesMilk,
    JoinsDeck,
    KeepsWithheld,
    RemovesUnits,
    RinsesUnits,
    StandsCows,
    TurnsDeck,
    WashesCloths,
)
from byrewright.plant.roles.milk import (
    BalancesMilk,
    CollectsMilk,
    FeedsCalves,
    FiltersMilk,
    IsValve,
    JoinsPipes,
    LoadsTankers,
    MovesMilk,
    ReceivesMilk,
    TakesWaste,
)
from byrewright.plant.roles.power import (
    BridgesPower,
    CompressesAir,
    Controls,
    DriesAir,
    GeneratesPower,
    KeepsAir,
    Senses,
    SharesPower,
    SuppliesPower,
    TellsPeople,
)
from byrewright.plant.roles.vacuum import (
    FeedsPulsators,
    PassesOneWay,
    Pulsates,
    PumpsVacuum,
    RegulatesVacuum,
    SharesVacuum,
    TrapsLiquid,
)
from byrewright.plant.roles.water import (
    BuffersWater,
    DosesWash,
    FiltersWater,
    GivesWater,
    HeatsWater,
    InjectsAir,
    MakesUpWash,
    MovesWater,
    ProtectsWater,
    RecoversHeat,
    SoftensWater,
)

__all__ = [
    "BalancesMilk", "BridgesPower", "BringsCows", "BuffersCold", "BuffersWater", "CarriesDeck",
    "Cold", "CollectsMilk", "CompressesAir", "Controls", "CoolsMilk", "DosesWash", "DriesAir",
    "DriesCloths", "FeedsCalves", "FeedsPulsators", "FiltersMilk", "FiltersWater",
    "GeneratesPower", "GivesMilk", "GivesWater", "HeatsWater", "InjectsAir", "IsValve",
    "JoinsDeck", "JoinsPipes", "KeepsAir", "KeepsWithheld", "LoadsTankers", "MakesCold",
    "MakesUpWash", "MovesMilk", "MovesWater", "PassesOneWay", "ProtectsWater", "Pulsates",
    "PumpsVacuum", "ReceivesMilk", "RecoversHeat", "RegulatesVacuum", "RemovesUnits",
    "RinsesUnits", "Role", "Senses", "SharesPower", "SharesVacuum", "SoftensWater", "Stage",
    "StandsCows", "StoresMilk", "SuppliesPower", "TakesExpansion", "TakesWaste", "TellsPeople",
    "TrapsLiquid", "TurnsDeck", "WashesCloths", "roles_of", "usual_kind", "usually",
]  # fmt: skip
