"""The owner's desk: what needs attention, presses and their readings, stock, names, house rules, keys."""

from accord_service.pages.shop.house import (
    add_rule,
    edit_rule,
    facts_page,
    house_page,
    house_version,
    house_versions,
    limit_page,
    move_limit,
    remove_rule,
    remove_rule_page,
    rule_form,
    rule_page,
)
from accord_service.pages.shop.keys import issue_key, keys_page, revoke_key, revoke_page
from accord_service.pages.shop.names import change_names, names_page
from accord_service.pages.shop.overview import shop_desk
from accord_service.pages.shop.press_data import add_press, edit_press, new_press_form, press_form
from accord_service.pages.shop.presses import (
    confirm_reading,
    enter_reading,
    press_page,
    take_back,
    take_back_page,
)
from accord_service.pages.shop.samples import add_sample, remove_sample, remove_sample_page, sample_form
from accord_service.pages.shop.stock import change_stock, choose_sheet, sheet_page, stock_page, write_sheet
from accord_service.pages.shop.strips import change_strips, strips_page
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
    new_press_form,
    add_press,
    strips_page,
    change_strips,
    stock_page,
    change_stock,
    choose_sheet,
    sheet_page,
    write_sheet,
    sample_form,
    add_sample,
    remove_sample_page,
    remove_sample,
    names_page,
    change_names,
    house_page,
    limit_page,
    move_limit,
    rule_form,
    add_rule,
    rule_page,
    edit_rule,
    remove_rule_page,
    remove_rule,
    facts_page,
    house_versions,
    house_version,
    keys_page,
    issue_key,
    revoke_page,
    revoke_key,
)
