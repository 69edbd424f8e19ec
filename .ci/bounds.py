"""Print pip constraints for the oldest release of each library that pyproject.toml admits."""

import re
import sys
import tomllib
from pathlib import Path


def main() -> None:
    project = tomllib.loads(Path("pyproject.toml").read_text("utf-8"))["project"]
    wanted = [project["dependencies"], *project["optional-dependencies"].values()]
    for requirement in (one for some in wanted for one in some):
        if requirement.startswith(project["name"]):  # its own extras, which are listed as well
            continue
        bound = re.match(r"([\w.-]+)>=([\w.]+)", requirement)
        if bound is None:
            raise SystemExit(f"no lower bound: {requirement}")
        sys.stdout.write(f"{bound[1]}=={bound[2]}\n")


main()
