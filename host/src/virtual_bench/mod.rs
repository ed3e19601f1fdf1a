//! The modelled bench: the real controller logic running against models of its chips, relays, pins and unit.
