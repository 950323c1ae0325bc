"""``windowcast completion``: what a shell needs to complete commands, options and names."""

from __future__ import annotations

import click


@click.command("completion")
@click.argument("shell", type=click.Choice(["bash", "zsh", "fish"]))
def command(*, shell: str) -> None:
    """Print the script that lets SHELL complete commands, options, and names of a site file.

    \b
    bash  eval "$(windowcast completion bash)"      in ~/.bashrc
    zsh   eval "$(windowcast completion zsh)"       in ~/.zshrc
    fish  windowcast completion fish > ~/.config/fish/completions/windowcast.fish
    """
    from click.shell_completion import get_completion_class

    from windowcast.cli import cli

    found = get_completion_class(shell)
    assert found is not None
    click.echo(found(cli, {}, "windowcast", "_WINDOWCAST_COMPLETE").source())
