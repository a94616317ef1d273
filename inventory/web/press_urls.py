"""Addresses of what a press is set up with, and of inks and shelf lives in stock."""

from __future__ import annotations

from django.urls import path, register_converter

from inventory.web import press_care, stock_inks


class Shelf:
    """A kind of stock, in an address."""

    regex = "|".join(stock_inks.SHELVES)

    def to_python(self, value: str) -> str:
        """Return the kind as it is stored."""
        return value

    def to_url(self, value: str) -> str:
        """Return the kind as the address has it."""
        return value


register_converter(Shelf, "shelf")

urlpatterns = [
    path(
        "presses/<int:press_id>/channels/add/",
        press_care.channel_add,
        name="press-channel-add",
    ),
    path(
        "presses/<int:press_id>/channels/<int:channel_id>/",
        press_care.channel_change,
        name="press-channel",
    ),
    path("presses/<int:press_id>/tasks/add/", press_care.task_add, name="press-task-add"),
    path(
        "presses/<int:press_id>/tasks/<int:task_id>/",
        press_care.task_change,
        name="press-task",
    ),
    path("presses/<int:press_id>/set-up/", press_care.set_up, name="press-set-up"),
    path("stock/inks/", stock_inks.ink_list, name="stock-inks"),
    path("stock/inks/receive/", stock_inks.ink_receive, name="stock-ink-receive"),
    path("stock/shelf-lives/", stock_inks.shelf_lives, name="stock-shelf-lives"),
    path("stock/<shelf:shelf>/<int:stock_id>/days/", stock_inks.stock_days, name="stock-days"),
]
