"""`ventwright copy`: a whole copy of the store while it is written to."""

import sqlite3
from pathlib import Path

import click

from ventwright.commands.options import config_option, fail, settings_or_exit
from ventwright.storage.copying import copy_store


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
@config_option
def copy(folder: Path, config: Path) -> None:
    """Copy the store into FOLDER while the daemon runs; copying its files by hand is not safe.

    The copy is of one moment and was looked through for damage. To use it, name its folder under
    store.folder, or give it to `ventwright replay`.
    """
    source = settings_or_exit(config).store.folder
    try:
        size = copy_store(source, folder)
    except sqlite3.Error as error:
        fail(f"the store in {source} cannot be copied to {folder}: {error}")
    except FileExistsError as error:
        fail(str(error))
    except (OSError, ValueError) as error:
        fail(f"the store could not be copied to {folder}: {error}")
    click.echo(f"{size / 1e6:.1f} MB copied to {folder}; nothing in it is damaged.")
