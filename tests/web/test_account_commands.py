"""The commands of the service: accounts by name, password and key; where it listens; what is loaded for it."""

import io
import re
import stat
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from service_running import PASSWORD, Running

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
    ran: list[dict[str, Any]] = []
    monkeypatch.setattr("uvicorn.run", lambda _, **how: ran.append(how))
    assert "proxy" not in call("serve")[2]
    assert "docs/serving.md" in call("serve", "--host", "0.0.0.0", "--public-url", "https://walls.example")[2]
    assert call("serve", "--trusted-proxies", "10.0.0.7", "--port", "9000")[0] == 0
    assert [(how["host"], how["port"], how["proxy_headers"], how["forwarded_allow_ips"]) for how in ran] == [
        ("127.0.0.1", 8765, False, None),
        ("0.0.0.0", 8765, False, None),
        ("127.0.0.1", 9000, True, "10.0.0.7"),
    ]
    assert "This is no address" in call("serve", "--public-url", "walls.example")[2]


def test_a_service_without_any_account_says_so(call, running: Running, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("uvicorn.run", lambda *_, **__: None)
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
