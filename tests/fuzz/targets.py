"""Every reader of outside input, by name."""

from tests.fuzz import of_channels, of_commands, of_files, of_logs, of_page
from tests.fuzz.target import Target

TARGETS: dict[str, Target] = {
    **of_logs.TARGETS,
    **of_files.TARGETS,
    **of_channels.TARGETS,
    **of_page.TARGETS,
    **of_commands.TARGETS,
}
