"""A person's review as a FHIR bundle, R4 or R5."""

from coach.review.fhir.bundle import VERSIONS, bundle, write_bundle

__all__ = ["VERSIONS", "bundle", "write_bundle"]
