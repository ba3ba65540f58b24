@echo off
rem Opens the coordinator's page in the browser; started by a double click on Windows. The first start makes the environment.
pushd "%~dp0"
rem a newer Python may be there as well, which py would take by itself
set "python="
for %%v in (3.11 3.12 3.13) do py -%%v -c "" >nul 2>nul && set "python=py -%%v"
if not defined python set "python=python"
%python% run.py desk %*
if errorlevel 9009 echo Python 3.13 is needed: take an installer of it from www.python.org/downloads
if errorlevel 1 pause
popd
