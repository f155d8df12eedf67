"""The owner's desk: what needs attention, presses and their readings, stock, names, house rules, keys."""

from accord_service.pages.shop.overview import shop_desk
from accord_service.pages.shop.presses import (
    confirm_reading,
    edit_press,
    enter_reading,
    press_form,
    press_page,
    take_back,
    take_back_page,
)
from accord_service.pages.visit import Page

PAGES: tuple[Page, ...] = (
    shop_desk,
    press_page,
    enter_reading,
    confirm_reading,
    take_back_page,
    take_back,
    press_form,
    edit_press,
)
