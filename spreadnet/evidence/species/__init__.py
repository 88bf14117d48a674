"""
What is known of each species, and from where?

Carriage, survival, habitat and detection as tables with their sources; a region may override
them.
"""

from spreadnet.evidence.species.species import Species, read_species, species_table

__all__ = [
    "Species",
    "read_species",
    "species_table",
]
