"""The commands of the service: accounts by name, password and key; where it listens; what is loaded for it."""

import io
import re
import signal
import socket
import stat
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from urllib.request import urlopen

import pytest
import uvicorn
from service_running import PASSWORD, Running

from monitor.cli import exits
from monitor.cli import main as run_main
from monitor.errors import StoreError
from monitor.web import accounts, serving


@pytest.fixture
def call(
    running: Running, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Callable[..., tuple[int, str, str]]:
    def calling(*words: str, typed: str = "") -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["wallbow", *words, "--store", str(running.root)])
        monkeypatch.setattr(sys, "stdin", io.StringIO(typed))
        with pytest.raises(SystemExit) as left:
            run_main()
        found = capsys.readouterr()
        return int(left.value.code or 0), found.out, found.err

    return calling


def test_an_account_is_opened_changed_and_closed_and_each_is_on_the_audits_record(call, running: Running) -> None:
    code, out, err = call("account", "add", "T2", "--role", "technician", "--password-stdin", typed=PASSWORD + "\n")
    assert (code, out, err) == (0, "", "T2 can now sign in as technician.\n")
    assert accounts.by_password(running.store(), "t2", PASSWORD) is not None
    assert call("account", "new-password", "t2", "--password-stdin", typed="another four words\n")[0] == 0
    assert accounts.by_password(running.store(), "T2", PASSWORD) is None
    code, key, err = call("account", "new-key", "T2")
    assert "not shown again" in err
    assert accounts.by_key(running.store(), key.strip()) is not None
    listed = call("account", "list", "--csv")[1].splitlines()
    assert listed[0] == "account,role,state,password,key,since"
    assert [line.split(",")[:5] for line in listed[1:] if line.startswith("T2")] == [
        ["T2", "technician", "open", "yes", "yes"]
    ]
    assert call("account", "close", "T2")[2] == "The account T2 is closed.\n"
    assert accounts.by_key(running.store(), key.strip()) is None
    rows = running.store().office.rows("audit")
    assert [(row["act"], row["what"]) for row in rows] == [
        (f"account {act}", "T2") for act in ("add", "new-password", "new-key", "close")
    ]
    assert PASSWORD not in str(rows)
    assert key.strip().split(".")[1] not in str(rows)
    assert len(running.store().office.rows("accounts", account="T2")) == 4, "rows are only added to"


@pytest.mark.parametrize(
    ("words", "typed", "code", "said"),
    [
        (("add", "T2", "--role", "technician", "--password-stdin"), "short\n", 15, "Expected: 12 to 256 signs."),
        (("add", "T2", "--role", "technician", "--password-stdin"), "", 15, "Found: 0 signs."),
        (("add", "T2", "--role", "owner", "--password-stdin"), PASSWORD, 2, "none of technician, office, engineer"),
        (("add", "T1", "--role", "office", "--password-stdin"), PASSWORD, 15, "There is such an account already."),
        (("add", "t 2", "--role", "office", "--password-stdin"), PASSWORD, 15, "letters, digits, - and _"),
        (("close", "T9"), "", 13, "There is no such open account."),
        (("new-key", "T9"), "", 13, "There is no such open account."),
    ],
)
def test_what_cannot_be_done_is_answered_in_plain_words(
    words: tuple[str, ...], typed: str, code: int, said: str, call
) -> None:
    found = call("account", *words, typed=typed)
    assert found[0] == code
    assert said in " ".join(found[2].split())


def test_an_account_of_a_script_has_a_key_and_no_password(call, running: Running) -> None:
    assert "new-key S1" in call("account", "add", "S1", "--role", "technician", "--key-only")[2]
    assert accounts.by_password(running.store(), "S1", "") is None
    key = call("account", "new-key", "S1")[1].strip()
    assert accounts.by_key(running.store(), key) is not None


def test_an_account_whose_person_is_not_registered_where_others_are_is_refused(with_walls: Running) -> None:
    from monitor.pipeline.who import RulingError
    from monitor.terms import Role

    with pytest.raises(RulingError, match="Nobody with this person id is registered"):
        accounts.add(with_walls.store(), "T7", Role.OFFICE, password=PASSWORD, at=with_walls.clock())


def test_it_listens_on_this_machine_alone_unless_told_and_then_says_what_that_means(
    call, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[tuple[str, int]] = []
    ran: list[uvicorn.Config] = []
    monkeypatch.setattr(serving, "listen", lambda *place: asked.append(place) or [])
    monkeypatch.setattr("uvicorn.Server.run", lambda server, _: ran.append(server.config))
    assert "proxy" not in call("serve")[2]
    assert "docs/serving.md" in call("serve", "--host", "0.0.0.0", "--public-url", "https://walls.example")[2]
    assert call("serve", "--trusted-proxies", "10.0.0.7", "--port", "9000")[0] == 0
    assert asked == [("127.0.0.1", 8765), ("0.0.0.0", 8765), ("127.0.0.1", 9000)]
    assert [how.proxy_headers for how in ran] == [False, False, True]
    assert ran[-1].forwarded_allow_ips == "10.0.0.7"
    assert "This is no address" in call("serve", "--public-url", "walls.example")[2]


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        return int(taken.getsockname()[1])


def test_a_port_in_use_is_told_before_anything_is_said_to_be_served(call) -> None:
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        code, out, err = call("serve", "--port", str(port))
    assert (code, out) == (exits.NOT_POSSIBLE, "")
    assert err == (
        f"Something listens there already. Found: 127.0.0.1, port {port}. "
        "Mend: Give another --port, or stop what listens there.\n"
    )


@pytest.mark.parametrize("host", ["192.0.2.1", "no-such-machine.invalid", "a..b"])
def test_an_address_that_is_not_this_machines_is_told(host: str, call) -> None:
    code, out, err = call("serve", "--host", host, "--port", "8765")
    assert (code, out) == (exits.NOT_POSSIBLE, "")
    assert f"This address is none of this machine's. Found: {host}, port 8765. Mend: Give --host" in err
    assert "Serving" not in err


def test_a_port_that_this_user_may_not_have_is_told(call, monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: object, **__: object) -> socket.socket:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(socket, "create_server", refused)
    code, _, err = call("serve", "--port", "80")
    assert code == exits.NOT_POSSIBLE
    assert err == ("This user may not listen there. Found: 127.0.0.1, port 80. Mend: Give a --port from 1024 on.\n")


def test_of_a_names_addresses_those_that_the_machine_lacks_are_left_out_and_none_is_kept_where_one_is_in_use(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    port = free_port()
    lacks, here, other = ((socket.AF_INET, 1, 6, "", (host, port)) for host in ("192.0.2.1", "127.0.0.1", "127.0.0.2"))
    monkeypatch.setattr(socket, "getaddrinfo", lambda *_, **__: [lacks, here])
    [found] = serving.listen("walls", port)
    assert found.getsockname() == ("127.0.0.1", port)
    monkeypatch.setattr(socket, "getaddrinfo", lambda *_, **__: [other, here])
    with pytest.raises(serving.ListenError, match="already"):
        serving.listen("walls", port)
    found.close()
    for each in serving.listen("walls", port):  # neither was left open
        each.close()


def test_it_answers_on_the_port_it_was_given_until_it_is_stopped(running: Running) -> None:
    port = free_port()
    words = [sys.executable, "-m", "monitor", "serve", "--store", str(running.root), "--port", str(port)]
    with subprocess.Popen(words, stderr=subprocess.PIPE, text=True) as process:
        try:
            assert process.stderr is not None
            while not process.stderr.readline().startswith("Serving"):
                assert process.poll() is None
            with urlopen(
                f"http://127.0.0.1:{port}/sign-in", timeout=60
            ) as answer:  # asked before it is ready, it waits
                assert answer.status == 200
        finally:
            process.send_signal(signal.SIGINT)
        said = process.stderr.read()
    assert process.returncode == exits.OK, said
    assert "Traceback" not in said


def test_a_service_without_any_account_says_so(call, running: Running, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(serving, "listen", lambda *_: [])
    monkeypatch.setattr("uvicorn.Server.run", lambda *_: None)
    for person in ("T1", "O1", "E1"):
        call("account", "close", person)
    assert "Nobody has an account yet" in call("serve")[2]


def test_the_secret_is_made_once_and_is_for_its_owner_only(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(serving.SECRET_VARIABLE, raising=False)
    first = serving.secret_of(tmp_path)
    assert serving.secret_of(tmp_path) == first
    assert stat.S_IMODE((tmp_path / serving.SECRET_FILE).stat().st_mode) == 0o600
    monkeypatch.setenv(serving.SECRET_VARIABLE, "x" * 40)
    assert serving.secret_of(tmp_path) == "x" * 40
    monkeypatch.setenv(serving.SECRET_VARIABLE, "short")
    with pytest.raises(StoreError, match="too short"):
        serving.secret_of(tmp_path)


def test_a_command_that_serves_nothing_loads_nothing_of_the_service() -> None:
    """Each of these costs every command its loading time."""
    heavy = (
        "fastapi",
        "starlette",
        "uvicorn",
        "argon2",
        "limits",
        "itsdangerous",
        "python_multipart",
        "pandas",
        "scipy",
    )
    code = (
        "import sys\nsys.argv = ['wallbow', '--help']\nfrom monitor.cli import main\n"
        "try:\n    main()\nexcept SystemExit:\n    pass\n"
        "print('LOADED', sorted({name.split('.')[0] for name in sys.modules}))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60)
    loaded = re.findall(r"'(\w+)'", done.stdout.split("LOADED")[1])
    assert "typer" in loaded
    assert [name for name in heavy if name in loaded] == []
