"""The compose file: what can be known about it without building the image."""

import importlib
import re
import shlex

import pytest
from django.core.management import get_commands
from django.utils.module_loading import import_string

from coaching.celery import app
from coaching.gunicorn_conf import graceful_timeout
from coaching.tasks import ENDS_WITHIN_S
from tests.compose_file import COMPOSE, ROOT, SERVICES, TEXT, command_of

OWN = ["web", "worker", "beat", "migrate"]


def test_the_file_names_every_part_of_the_service():
    assert set(SERVICES) == {"proxy", "db", "redis", "web", "worker", "beat", "mail", "migrate"}


@pytest.mark.parametrize("service", SERVICES)
def test_every_service_has_a_health_check(service):
    check = SERVICES[service]["healthcheck"]
    assert check["test"][0] in ("CMD", "CMD-SHELL")
    assert check["interval"]
    assert check["timeout"]


@pytest.mark.parametrize("service", SERVICES)
def test_no_service_runs_as_root(service):
    user = str(SERVICES[service]["user"])
    assert user.split(":")[0] not in ("", "0", "root")


@pytest.mark.parametrize("service", OWN)
def test_our_services_run_one_image_read_only_and_without_capabilities(service):
    told = SERVICES[service]
    assert told["image"] == "forbear"
    assert told["read_only"] is True
    assert told["cap_drop"] == ["ALL"]


def test_the_image_installs_only_what_the_lock_holds():
    recipe = SERVICES["migrate"]["build"]["dockerfile_inline"]
    assert "--require-hashes -r requirements.lock" in recipe
    assert re.search(r"^USER 10001:10001$", recipe, re.MULTILINE)


def test_the_image_copies_only_what_is_there():
    recipe = SERVICES["migrate"]["build"]["dockerfile_inline"]
    sources = re.findall(r"^COPY (\S+) \S+$", recipe, re.MULTILINE)
    assert sources
    assert all((ROOT / source).exists() for source in sources)


@pytest.mark.parametrize("service", SERVICES)
def test_secrets_come_from_the_environment_and_have_no_default(service):
    for name, value in (SERVICES[service].get("environment") or {}).items():
        if re.search("SECRET|PASSWORD|AUTH", name):
            is_needed = name not in (
                "SECRET_KEY_FALLBACKS",
                "PASSWORD_RESET_URL",
            )
            assert re.fullmatch(r"\$\{[A-Z_]+:\?\}" if is_needed else r"\$\{[A-Z_]+:-\}", value)


def test_no_address_holds_a_literal_password():
    passwords = re.findall(r"://[^:/\s]*:([^@\s]+)@", TEXT)
    assert passwords
    assert all(re.fullmatch(r"\$\{[A-Z_]+:\?\}", password) for password in passwords)


def test_the_service_and_the_migration_use_different_roles():
    web = SERVICES["web"]["environment"]["DATABASE_URL"]
    migrate = SERVICES["migrate"]["environment"]["MIGRATION_DATABASE_URL"]
    assert web.split(":")[1] == "//forbear_app"
    assert migrate.split(":")[1] == "//forbear_owner"


def test_redis_keeps_what_it_was_told_and_throws_nothing_away():
    command = " ".join(SERVICES["redis"]["command"])
    assert "--appendonly yes" in command
    assert "--maxmemory-policy noeviction" in command


def test_only_the_proxy_and_the_mail_catcher_are_reachable_and_only_from_this_machine():
    published = {name: told["ports"] for name, told in SERVICES.items() if "ports" in told}
    assert set(published) == {"proxy", "mail"}
    assert all(port.startswith("127.0.0.1:") for ports in published.values() for port in ports)


@pytest.mark.parametrize("service", ["web", "worker", "beat"])
def test_our_processes_start_after_the_migration_has_ended(service):
    assert SERVICES[service]["depends_on"]["migrate"] == {"condition": "service_completed_successfully"}


def test_every_volume_and_config_that_is_used_is_declared():
    volumes = {volume.split(":")[0] for told in SERVICES.values() for volume in told.get("volumes", [])}
    configs = {config["source"] for told in SERVICES.values() for config in told.get("configs", [])}
    assert volumes == set(COMPOSE["volumes"])
    assert configs == set(COMPOSE["configs"])


def test_the_proxy_takes_in_whole_requests_and_no_larger_ones_than_the_service():
    content = COMPOSE["configs"]["proxy"]["content"]
    assert "proxy_request_buffering on;" in content
    assert "client_max_body_size 2m;" in content


def test_the_proxy_passes_no_metrics_on():
    content = COMPOSE["configs"]["proxy"]["content"]
    assert re.search(r"location = /metrics \{[^}]*return 404;", content)


@pytest.mark.parametrize("service", ["web", "worker", "beat"])
def test_our_processes_are_given_longer_to_stop_than_they_take(service):
    assert SERVICES[service]["stop_grace_period"] == "15s"
    assert graceful_timeout < 15
    assert ENDS_WITHIN_S < 10


def test_web_starts_a_settings_file_and_an_application_that_exist():
    gunicorn, flag, settings_file, application = command_of("web").words
    assert (gunicorn, flag) == ("gunicorn", "-c")
    assert (ROOT / settings_file).is_file()
    assert callable(import_string(application.replace(":", ".")))


@pytest.mark.parametrize("service", ["worker", "beat"])
def test_worker_and_beat_start_our_celery_app(service):
    celery, flag, module, does, *_ = command_of(service).words
    assert (celery, flag, does) == ("celery", "-A", service)
    assert importlib.import_module(module).app is app


def test_migrate_is_a_known_command():
    python, script, command, *_ = command_of("migrate").words
    assert (python, script) == ("python", "manage.py")
    assert (ROOT / script).is_file()
    assert command in get_commands()


@pytest.mark.parametrize("service", ["web", "beat"])
def test_a_health_check_in_python_is_python(service):
    *_, script = SERVICES[service]["healthcheck"]["test"]
    compile(script, service, "exec")


def test_the_health_check_of_the_worker_asks_our_celery_app():
    words = shlex.split(SERVICES["worker"]["healthcheck"]["test"][1])
    assert words[:5] == ["celery", "-A", "coaching.celery", "inspect", "ping"]


def test_beat_asks_for_a_task_that_the_worker_knows():
    app.loader.import_default_modules()
    assert {entry["task"] for entry in app.conf.beat_schedule.values()} <= set(app.tasks)


def test_the_image_has_the_backup_programs_of_its_database_server():
    recipe = SERVICES["migrate"]["build"]["dockerfile_inline"]
    (programs,) = re.findall(r"postgresql-client-(\d+)", recipe)
    assert SERVICES["db"]["image"] == f"postgres:{programs}"


def test_beat_ticks_often_enough_for_a_lost_message_to_cost_ten_seconds():
    assert app.conf.beat_schedule["tick"]["schedule"] <= 10
