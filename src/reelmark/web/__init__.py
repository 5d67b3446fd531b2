"""The web face: pages and acts over a works folder, thin over ``acts``.

server      `reelmark serve`                      app       the application and what stands before it
page        the one pattern of a page             pages     a module for each page
content     what a page is made of                house     works, people, news, templates
live        one reading looked at, one hand that writes
"""
