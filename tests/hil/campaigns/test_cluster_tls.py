"""A cluster by TLS: flights go where the certificates agree, and nowhere else."""

import shutil
import subprocess
from pathlib import Path

import distributed
import pytest
from click.testing import CliRunner

from hil.campaigns import workers
from hil.campaigns.workers import executor_of
from mixer.ground.command_line.fourvane import fourvane
from mixer.ground.inputs.csv_files import InputError


def certificate(folder: Path, name: str) -> tuple[Path, Path]:
    """A certificate that vouches for itself, and its key."""
    if shutil.which("openssl") is None:
        pytest.skip("needs the program openssl to make certificates")
    made, key = folder / f"{name}.pem", folder / f"{name}-key.pem"
    command = ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj",
               f"/CN={name}", "-keyout", key, "-out", made]  # fmt: skip
    subprocess.run([str(part) for part in command], check=True, capture_output=True)
    return made, key


def test_only_who_has_the_certificate_takes_part(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(workers, "CLUSTER_PATIENCE_S", 5)
    ours, our_key = certificate(tmp_path, "ours")
    other, other_key = certificate(tmp_path, "other")
    ends = {
        f"tls_{end}_{kind}": str(path)
        for end in ("scheduler", "worker", "client")
        for kind, path in (("cert", ours), ("key", our_key))
    }
    security = distributed.Security(require_encryption=True, tls_ca_file=str(ours), **ends)
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None,
        protocol="tls://", security=security,
    ) as cluster:  # fmt: skip
        address = cluster.scheduler_address
        assert address.startswith("tls://")
        with executor_of(None, address, (ours, ours, our_key)) as (executor, count):
            assert (count, executor.submit(abs, -3).result()) == (1, 3)
        with (
            pytest.raises(InputError, match="no cluster answers"),
            executor_of(None, address, (ours, other, other_key)),
        ):
            pass


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--cluster", "tls://there:8786"), "needs --cluster-tls CA CERT KEY"),
        (("--cluster", "tcp://there:8786", "--cluster-tls", "v", "v", "v"), "that starts tls://"),
        (("--cluster-tls", "v", "v", "v"), "that starts tls://"),
        (("--cluster", "tls://there:8786", "--cluster-tls", "v", "absent", "v"), "absent: No such"),
    ],
)
def test_address_and_certificates_that_do_not_go_together_are_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, options: tuple[str, ...], said: str
) -> None:
    from tests.support.flying import BRIEF, flying_text

    monkeypatch.chdir(tmp_path)
    (tmp_path / "v").write_text("")
    (tmp_path / "vehicle.toml").write_text(flying_text(BRIEF))
    for command in ("campaign", "failures"):
        done = CliRunner().invoke(fourvane, [command, "vehicle.toml", *options])
        assert done.exit_code == 2, done.output
        assert said in done.stderr


@pytest.mark.parametrize("command", ["campaign", "failures"])
def test_the_help_says_what_a_cluster_may_do_to_this_machine(command: str) -> None:
    told = " ".join(CliRunner().invoke(fourvane, [command, "--help"]).output.split())
    assert "can run any program as you on this machine" in told
